"""How fast the page is on a long bout: ``python -m tests.review.bench_page``.

A bout of 2 h with 1,500 segments, as a night of footage may give. Printed: the time from opening
the link to the first useful paint (list, map and "here" show the bout), from a key to the screen
that shows its effect, for moving and for correcting, and from a key to the decoded picture.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from itertools import pairwise
from pathlib import Path

import numpy as np

from pipeline.library import Library
from pipeline.timeline import Moment
from tests.review.bouts import add_bout, write_video
from tests.review.conftest import BROWSER_ARGUMENTS, TOKEN, running

DURATION_S = 7200.0
COUNT = 1500
KEYS = 20
KINDS = ("standing", "closed_guard", "half_guard", "side_control", "mount", "back_control")

# From a key to the second animation frame after its effect: by then the first is on the screen.
KEY_TO_SCREEN = """async ([selector, key]) => {
  const shown = () => document.querySelector(selector).textContent;
  const before = shown();
  const start = performance.now();
  document.body.dispatchEvent(new KeyboardEvent("keydown", {key, bubbles: true}));
  while (shown() === before) await new Promise(requestAnimationFrame);
  await new Promise(requestAnimationFrame);
  return performance.now() - start;
}"""
KEY_TO_PICTURE = """async (key) => {
  const video = document.querySelector("video");
  const start = performance.now();
  const shown = new Promise((done) =>
    video.requestVideoFrameCallback(() => done(performance.now())));
  document.body.dispatchEvent(new KeyboardEvent("keydown", {key, bubbles: true}));
  return (await shown) - start;
}"""
FIRST_USEFUL = """async () => {
  const there = () => document.querySelectorAll("#story li button").length > 20
    && document.querySelector("#here-card .what") && document.querySelector("#map").width > 300;
  while (!there()) await new Promise(requestAnimationFrame);
  await new Promise(requestAnimationFrame);
  return performance.now();
}"""


def long_bout(folder: Path):
    """Make the bout; its 1080p30 footage is only as long as the keys below go."""
    random = np.random.default_rng(1)
    lengths = random.gamma(2.0, 1.0, COUNT) + 0.4
    borders = np.round(np.concatenate([[0], np.cumsum(lengths / lengths.sum())]) * DURATION_S, 1)
    tops = [None if i % 6 == 0 else "AB"[i // 6 % 2] for i in range(COUNT)]
    sure = random.uniform(0.3, 1.0, COUNT)
    rows = tuple(
        (float(start), float(end), KINDS[i % len(KINDS)], tops[i], float(sure[i]))
        for i, (start, end) in enumerate(pairwise(borders))
    )
    moments = tuple(
        Moment(t, t + 0.4, t + 0.8, "rise", "A", 0.3, 0.7, id=f"m{i}")
        for i, t in enumerate(np.linspace(5, DURATION_S - 5, 300))
    )
    video = write_video(folder / "long.mp4", 24.0, rate=30, enlarged=6)
    library = Library(folder / "library")
    return library, add_bout(library, video, rows, moments)


def main() -> int:
    """Measure and print."""
    from playwright.sync_api import sync_playwright

    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        library, bout = long_bout(Path(folder))
        browser = playwright.chromium.launch(
            executable_path="/usr/bin/chromium", args=list(BROWSER_ARGUMENTS)
        )
        with running(library) as address:
            print(f"{DURATION_S / 3600:.0f} h, {COUNT} segments, 300 moments, 36,000 samples")
            firsts = [first_paint(browser, address, bout.id) for _ in range(5)]
            report("first useful paint", firsts, 1500)
            page = browser.new_page(viewport={"width": 1366, "height": 768})
            page.goto(f"{address}/bouts/{bout.id}#token={TOKEN}")
            page.evaluate(FIRST_USEFUL)
            time.sleep(2)
            page.keyboard.press("+")
            report("key to screen: move", keys(page, "#clock", "ArrowRight"), 100)
            pictures = [page.evaluate(KEY_TO_PICTURE, "ArrowLeft") for _ in range(KEYS)]
            report("key to picture, 1080p30 H.264", pictures, 100)
            page.keyboard.press("ArrowDown")  # into a segment that has a top athlete
            report("key to screen: correction, saved", keys(page, "#here-card", "t"), 100)
        browser.close()
    return 0


def first_paint(browser, address: str, bout_id: str) -> float:
    """Open the bout in a fresh profile; milliseconds from navigation."""
    context = browser.new_context(viewport={"width": 1366, "height": 768})
    page = context.new_page()
    page.goto(f"{address}/bouts/{bout_id}#token={TOKEN}", wait_until="commit")
    taken = page.evaluate(FIRST_USEFUL)
    context.close()
    return taken


def keys(page, selector: str, key: str) -> list[float]:
    """Press a key again and again; milliseconds each."""
    return [page.evaluate(KEY_TO_SCREEN, [selector, key]) for _ in range(KEYS)]


def report(what: str, milliseconds: list[float], wanted: float) -> None:
    """Print median and worst beside what is wanted."""
    median, worst = statistics.median(milliseconds), max(milliseconds)
    print(f"{what:36s} median {median:6.0f} ms   worst {worst:6.0f} ms   wanted {wanted:.0f} ms")


if __name__ == "__main__":
    sys.exit(main())
