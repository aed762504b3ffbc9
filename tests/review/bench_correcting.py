"""What correcting costs: ``python -m tests.review.bench_correcting [PROPOSAL.csv TRUTH.csv]``.

A scripted corrector that knows the truth works in the real page, with keys alone, as a human
would who never errs: it walks from border to border, puts right what is wrong and accepts what is
right. Printed: keys and corrections a minute of footage, and what is still wrong afterwards.

Without files, a truth is invented and read with the errors of a middling reader: one label in
seven wrong, one top athlete in ten, borders off by about half a second, a few segments missed, a
few cut in two, and the athletes exchanged once. Two CSV files of segments measure a real reading.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np

from pipeline.library import Library
from pipeline.outputs import segments_from_csv
from pipeline.timeline import Segment, Timeline, coarse, other
from tests.review.bouts import add_bout
from tests.review.conftest import BROWSER_ARGUMENTS, TOKEN, running

SAMPLE_S = 0.2
CLOSE_S = 0.3
"""A border this near the truth is right: annotators differ by more."""
CLOCK_S = 0.02
"""The page shows hundredths of a second."""
NUDGES = 6
"""Up to so many samples a border is nudged; farther, one goes there and brings it."""
KINDS = ("closed_guard", "open_guard", "half_guard", "side_control", "mount", "back_control")
LETTERS = {
    "standing": "s", "takedown": "t", "closed_guard": "c", "open_guard": "o", "half_guard": "h",
    "side_control": "d", "knee_on_belly": "k", "mount": "m", "back_control": "b", "turtle": "u",
    "north_south": "n", "leg_entanglement": "l", "scramble": "x", "apart": "a", "unknown": "?",
}  # fmt: skip


class Hands:
    """Presses keys on the page, counts them, and waits until what they did is saved."""

    def __init__(self, page, library: Library, bout_id: str) -> None:
        self.page, self.library, self.bout_id = page, library, bout_id
        self.keys = self.corrections = self.acceptances = 0

    @property
    def timeline(self) -> Timeline:
        """The timeline as it stands."""
        return self.library.timeline(self.bout_id)

    def press(self, *keys: str) -> None:
        """Press keys that move or choose."""
        for key in keys:
            self.page.keyboard.press(key)
        self.keys += len(keys)

    def correct(self, *keys: str) -> None:
        """Press keys that make one correction, and wait for it."""
        before = self.library.revision(self.bout_id)
        self.press(*keys)
        shown = "Number(document.querySelector('#saved').dataset.revision)"
        for _ in range(400):
            if self.page.evaluate(shown) > before:
                return
            self.page.wait_for_timeout(10)
        raise AssertionError(f"{keys} at {self.time_s:.2f} s changed nothing")

    @property
    def time_s(self) -> float:
        """Where the page stands, seconds, as it shows it."""
        minutes, seconds = self.page.inner_text(".clock").split(":")[-2:]
        return 60 * int(minutes) + float(seconds)

    def go(self, time_s: float) -> None:
        """Go to a time: over borders, then by seconds, then by pictures."""
        borders = {t for s in self.timeline.segments for t in (s.start_s, s.end_s)}
        at = max((b for b in borders if b <= time_s + CLOCK_S), default=0.0)
        self.step("ArrowDown", lambda now: now < at - CLOCK_S)
        self.step("ArrowUp", lambda now: now > time_s + CLOCK_S and now > CLOCK_S)
        self.step("ArrowRight", lambda now: now + 1 <= time_s + CLOCK_S)
        self.step(".", lambda now: now + SAMPLE_S / 2 < time_s)

    def step(self, key: str, needed: Callable[[float], bool]) -> None:
        """Press a key as long as it is needed."""
        while needed(before := self.time_s):
            self.press(key)
            for _ in range(40):  # a busy machine takes its time
                self.page.wait_for_timeout(15)
                if self.time_s != before:
                    break
            else:
                return  # it goes no further


def correct_all(hands: Hands, truth: Timeline) -> None:
    """Walk through the bout once and put everything right."""
    for wanted, after in zip(truth.segments, [*truth.segments[1:], None], strict=True):
        middle = (wanted.start_s + wanted.end_s) / 2
        put_start(hands, wanted)
        # Near its end a border may be what the next start is made of.
        drop_borders(hands, wanted.start_s, wanted.end_s - (reach_of(after) if after else 0))
        here = hands.timeline.at(middle)
        assert here is not None
        if coarse(here.position) != coarse(wanted.position):
            hands.correct("r", LETTERS[coarse(wanted.position)], "Enter")
            hands.corrections += 1
        here = hands.timeline.at(middle)
        wrong = wanted.top and here.top != wanted.top
        if wrong and most_exchanged(hands.timeline, truth, wanted.start_s):
            hands.correct("x")
            hands.corrections += 1
            here = hands.timeline.at(middle)
        while wanted.top and here.top != wanted.top:
            hands.correct("t")
            hands.corrections += 1
            here = hands.timeline.at(middle)
        if here.state == "proposed":
            hands.correct("a")
            hands.acceptances += 1


def put_start(hands: Hands, wanted: Segment) -> None:
    """Bring or make the border where a segment starts, and stand just there."""
    if wanted.start_s == 0:
        return
    borders = [s.start_s for s in hands.timeline.segments if s.start_s > 0]
    nearest = min(borders, key=lambda b: abs(b - wanted.start_s), default=np.inf)
    reach = reach_of(wanted)
    off = round((nearest - wanted.start_s) / SAMPLE_S)
    if abs(nearest - wanted.start_s) <= CLOSE_S:
        hands.go(nearest)
    elif abs(nearest - wanted.start_s) <= reach and abs(off) <= NUDGES:
        hands.go(nearest)
        for _ in range(abs(off)):
            hands.correct("[" if off > 0 else "]")
        hands.corrections += 1
    else:
        hands.go(wanted.start_s)
        hands.correct("b" if abs(nearest - wanted.start_s) <= reach else "s")
        hands.corrections += 1


def reach_of(wanted: Segment) -> float:
    """How far from a segment's start a border is still brought there, seconds."""
    return min(2.0, wanted.duration_s / 2)


def drop_borders(hands: Hands, from_s: float, to_s: float) -> None:
    """Merge away what borders there are between two times that are no borders in truth."""
    while True:
        inside = [
            s.start_s
            for s in hands.timeline.segments
            if from_s + CLOSE_S < s.start_s < to_s - CLOSE_S
        ]
        if not inside:
            return
        back = hands.time_s
        hands.go(inside[0])
        hands.correct("m")
        hands.corrections += 1
        hands.go(back)


def most_exchanged(now: Timeline, truth: Timeline, from_s: float) -> bool:
    """Tell whether A and B are the wrong way round in most of what follows."""
    right = wrong = 0.0
    for wanted in truth.segments:
        here = now.at((wanted.start_s + wanted.end_s) / 2)
        if wanted.start_s >= from_s - CLOSE_S and wanted.top and here and here.top:
            right += wanted.duration_s * (here.top == wanted.top)
            wrong += wanted.duration_s * (here.top != wanted.top)
    return wrong > 2 * right and wrong > 20


def invented_truth(random: np.random.Generator, minutes: float = 6.0) -> Timeline:
    """Return a bout of so many minutes."""
    borders = [0.0]
    while borders[-1] < 60 * minutes:
        borders.append(borders[-1] + round(float(random.gamma(3, 4) + 2) / SAMPLE_S) * SAMPLE_S)
    rows, top = [Segment(0.0, borders[1], "standing")], "A"
    for start, end in pairwise(borders[1:]):
        kinds = [k for k in KINDS if k != rows[-1].position]
        if random.random() < 0.2:
            top = other(top)  # type: ignore[arg-type]
        rows.append(Segment(start, end, str(random.choice(kinds)), top))  # type: ignore[arg-type]
    return Timeline(tuple(rows))


def misread(truth: Timeline, random: np.random.Generator) -> Iterator[Segment]:
    """Yield a reading of a bout with the errors that the module's text names."""
    rows = list(truth.segments)
    for number in sorted(random.choice(range(1, len(rows)), len(rows) // 15, False))[::-1]:
        rows[number - 1 : number + 1] = [replace(rows[number - 1], end_s=rows[number].end_s)]
    shifts = np.round(random.normal(0, 0.5, len(rows)) / SAMPLE_S) * SAMPLE_S
    exchanged_from = rows[len(rows) * 2 // 3].start_s
    for number, row in enumerate(rows):
        start = row.start_s + (shifts[number] if number else 0)
        end = row.end_s + (shifts[number + 1] if number + 1 < len(rows) else 0)
        if row.start_s >= exchanged_from and row.top:
            row = replace(row, top=other(row.top))
        wrong = random.random() < 1 / 7
        position = str(random.choice([k for k in KINDS if k != row.position]))
        if wrong and row.top:
            row = replace(row, position=position)
        if random.random() < 0.1 and row.top:
            row = replace(row, top=other(row.top))
        row = replace(row, start_s=start, end_s=end, confidence=0.5 if wrong else 0.85)
        if random.random() < 0.07 and row.duration_s > 6:
            middle = round((start + end) / 2 / SAMPLE_S) * SAMPLE_S
            yield replace(row, end_s=middle)
            row = replace(row, start_s=middle)
        yield row


def main(arguments: list[str]) -> int:
    """Correct each bout and print what it cost."""
    from playwright.sync_api import sync_playwright

    bouts: list[tuple[str, Timeline, Timeline]] = []
    if arguments:
        read, true = (tuple(segments_from_csv(Path(a).read_text("utf-8"))) for a in arguments[:2])
        bouts.append((Path(arguments[0]).stem, Timeline(read), Timeline(true)))
    else:
        for seed in (1, 2, 3):
            random = np.random.default_rng(seed)
            truth = invented_truth(random)
            bouts.append((f"invented {seed}", Timeline(tuple(misread(truth, random))), truth))
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path="/usr/bin/chromium", args=list(BROWSER_ARGUMENTS)
        )
        for number, (name, read, truth) in enumerate(bouts):
            library = Library(Path(folder) / str(number))
            print(f"{name}: {correct_one(browser, library, read, truth)}", flush=True)
        browser.close()
    return 0


def correct_one(browser, library: Library, read: Timeline, truth: Timeline) -> str:
    """Correct one bout in the page; return the sentence to print."""
    rows = tuple((s.start_s, s.end_s, s.position, s.top, s.confidence) for s in read.segments)
    bout = add_bout(library, Path("not-needed.mp4"), rows)
    minutes = truth.segments[-1].end_s / 60
    with running(library) as address:
        page = browser.new_page()
        page.goto(f"{address}/bouts/{bout.id}#token={TOKEN}")
        page.wait_for_selector("#story li button")
        page.wait_for_timeout(1000)
        hands = Hands(page, library, bout.id)
        begun = time.monotonic()
        correct_all(hands, truth)
        seconds = time.monotonic() - begun
        page.close()
    return (
        f"{minutes:.1f} min, {len(truth.segments)} segments; a minute of footage: "
        f"{seconds / minutes:.1f} s of the script, {hands.keys / minutes:.1f} keys, "
        f"{hands.corrections / minutes:.1f} corrections, "
        f"{hands.acceptances / minutes:.1f} acceptances; "
        f"agreement before {agreement(read, truth):.1%}, "
        f"after {agreement(hands.timeline, truth):.1%}"
    )


def agreement(one: Timeline, truth: Timeline) -> float:
    """Return the share of time with the right position and top athlete."""
    times = np.arange(SAMPLE_S / 2, truth.segments[-1].end_s, SAMPLE_S)
    pairs = [(one.at(t), truth.at(t)) for t in times]
    same = [
        a and b and (coarse(a.position), a.top) == (coarse(b.position), b.top) for a, b in pairs
    ]
    return float(np.mean([bool(s) for s in same]))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
