"""The pages keep WCAG 2.2 AA as far as a machine can tell: axe-core, fetched for the test."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

from pipeline.overnight.morning import keep_summary
from pipeline.overnight.spots import Spot
from pipeline.overnight.summary import FileOutcome, Summary

pytestmark = [pytest.mark.browser, pytest.mark.network]

RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
AXE = "axe-core@4.10.3"


@pytest.fixture(scope="session")
def axe(tmp_path_factory: pytest.TempPathFactory) -> str:
    folder = tmp_path_factory.mktemp("axe")
    command = ["npm", "install", "--no-audit", "--no-fund", "--ignore-scripts", AXE]
    try:
        subprocess.run(command, cwd=folder, check=True, capture_output=True, timeout=90)
    except (OSError, subprocess.SubprocessError) as error:
        pytest.skip(f"axe-core can't be fetched with npm: {error}")
    return (folder / "node_modules/axe-core/axe.min.js").read_text(encoding="utf-8")


def violations(page, axe: str) -> list[str]:
    page.evaluate(f"() => {{ {axe} }}")
    found = page.evaluate(
        "rules => axe.run(document, {runOnly: rules}).then(r => r.violations)", RULES
    )
    return [f"{v['id']}: {n['target']} {n['failureSummary']}" for v in found for n in v["nodes"]]


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [1366, 420])
def test_no_rule_of_wcag_is_broken(chromium, served, axe, scheme, width):
    context = chromium.new_context(
        color_scheme=scheme, viewport={"width": width, "height": 768}, reduced_motion="reduce"
    )
    page = context.new_page()
    page.goto(served.link)
    page.wait_for_selector("#story li button")
    assert violations(page, axe) == []
    page.keyboard.press("r")
    page.wait_for_selector("#chooser[open]")
    assert violations(page, axe) == []
    page.keyboard.press("Escape")
    page.wait_for_selector("#chooser[open]", state="hidden")
    page.keyboard.press("w")
    page.wait_for_selector("#form[open]")
    assert violations(page, axe) == []
    page.keyboard.press("Escape")
    page.wait_for_selector("#form[open]", state="hidden")
    page.click("#show-mat")
    page.wait_for_selector("#mat[open]")
    assert violations(page, axe) == []
    page.keyboard.press("Escape")
    page.keyboard.press("?")
    page.wait_for_selector("#help[open]")
    assert violations(page, axe) == []
    outcomes = (
        FileOutcome(
            Path("a.mp4"),
            "read",
            bouts=(served.bout.id,),
            moments={"rise": 2},
            spots=(Spot(served.bout.id, 3.5, 5.5, "elevation", "rise by B"),),
        ),
        FileOutcome(Path("b.mp4"), "failed", why="b.mp4: it is empty; copy it again."),
    )
    keep_summary(served.library.root, Summary(outcomes), ended=True)
    page.goto(served.address)
    page.wait_for_selector("#bouts tbody tr")
    assert "2 elevations" in page.inner_text("#night")
    assert "NOT READ. b.mp4: it is empty" in page.inner_text("#night")
    assert page.get_attribute("#night a", "href") == f"/bouts/{served.bout.id}"
    assert violations(page, axe) == []
    page.click("text=0:05 rise by B")
    page.wait_for_selector("#clock:has-text('0:03')")
    context.close()


def test_every_action_can_be_reached_and_done_with_tab_and_enter(page, served):
    done = set()
    for _ in range(60):
        page.keyboard.press("Tab")
        focused = page.evaluate("document.activeElement.dataset.does ?? ''")
        if focused:
            done.add(focused)
        if focused == "accept":
            page.keyboard.press("Enter")
    wanted = set(
        page.evaluate("[...document.querySelectorAll('[data-does]')].map(b => b.dataset.does)")
    )
    assert wanted - done <= {"undo", "redo"}  # off while there is nothing to undo
    assert served.library.bout(served.bout.id).counts["accepted"] == 1


def test_single_keys_can_be_turned_off(page, served):
    page.keyboard.press("?")
    page.uncheck("#keys-on")
    page.click("#help button")
    page.keyboard.press("a")
    page.keyboard.press("t")
    page.wait_for_timeout(200)
    assert served.library.revision(served.bout.id) == 0


def test_colour_is_never_the_only_sign(page):
    """Athletes differ by letter, line and lane; states by a mark and a word."""
    text = page.inner_text("#story")
    assert "(A)" in text
    assert "% sure" in text
    page.keyboard.press("a")
    page.wait_for_selector("text=✓ accepted")
