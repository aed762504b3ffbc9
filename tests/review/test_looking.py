"""Led on until everything was looked at, moments included; and led back by undo."""

from __future__ import annotations

from dataclasses import asdict

import pytest

from pipeline.outputs import export_bout, import_file
from pipeline.outputs.study import Selection, Study, report_html, select
from pipeline.timeline import ACTIONS, Correction, State
from tests.review.test_page import go, saved, until

pytestmark = pytest.mark.browser


def say(page, sentence: str) -> None:
    """Wait until the page says something."""
    page.locator("#problem", has_text=sentence).wait_for()


@pytest.mark.parametrize("order", ["worth", "time"])
def test_everything_was_looked_at_means_that_nothing_is_proposed_anywhere(page, served, order):
    page.select_option("#order", order)
    page.focus("#map")
    for revision in range(1, 10):  # six segments and three moments
        page.keyboard.press("Enter")
        saved(page, served, revision)
        until(page, f"document.querySelector('#saved').dataset.revision === '{revision}'")
    say(page, "Everything was looked at.")
    assert "9 of 9 looked at" in page.inner_text("#progress")
    assert served.library.bout(served.bout.id).counts["proposed"] == 0
    (studied,) = select(served.library, Selection())
    assert (studied.left_out_s, studied.left_out_moments) == (0, 0)
    page.goto(served.address)
    page.wait_for_selector("text=9 of 9")


def test_a_report_made_on_the_way_tells_what_it_counts_unseen_from_what_it_leaves_out(served):
    for number in range(6):
        served.library.append(served.bout.id, Correction("accept", {"segment": f"s000{number}"}))
    chosen = select(served.library, Selection())
    assert (chosen[0].left_out_moments, chosen[0].followed_moments) == (1, 3)  # the rise is left
    text = report_html(Study.of(chosen))
    assert "nobody has accepted or corrected it yet: 1 moment." in text
    assert "nobody has looked at the moment itself: 3 moments." in text


def test_what_is_left_out_on_the_way_is_never_called_looked_at(page, served):
    for _ in range(12):
        page.keyboard.press("n")
    page.keyboard.press("Enter")
    saved(page, served, 1)
    page.select_option("#order", "time")
    page.focus("#map")
    go(page, 19)
    page.keyboard.press("n")
    say(page, "Nothing more to look at after this place; 8 still proposed.")


def test_enter_accepts_the_moment_that_one_was_led_to_and_not_its_segment(page, served):
    go(page, 7)
    page.keyboard.press("PageDown")  # the rise at 7.4 s
    page.wait_for_selector("#here-card .is-meant:has-text('rise')")
    page.keyboard.press("Enter")
    saved(page, served, 1)
    timeline = served.library.timeline(served.bout.id)
    assert [m.state for m in timeline.moments if m.kind == "rise"] == [State.ACCEPTED]
    assert timeline.at(7.4).state is State.PROPOSED


def test_undo_and_redo_say_what_they_did_and_go_there(page, served):
    go(page, 13)
    page.keyboard.press("t")
    saved(page, served, 1)
    go(page, 7)
    page.keyboard.press("PageDown")
    page.keyboard.press("Delete")
    saved(page, served, 2)
    go(page, 0)
    page.keyboard.press("z")
    say(page, "Undone: removed rise by Ines (B), at 0:07.4.")
    until(page, "document.querySelector('#clock').textContent === '0:07.40'")
    page.keyboard.press("z")
    say(page, "Undone: Ines (B) on top, at 0:12.4.")
    until(page, "document.querySelector('#clock').textContent === '0:12.40'")
    go(page, 2)
    page.keyboard.press("y")
    say(page, "Made again: Ines (B) on top, at 0:12.4.")
    until(page, "document.querySelector('#clock').textContent === '0:12.40'")


TOLD = """async ([steps, vocabulary]) => {
  const { told } = await import('/static/steps.js');
  const { Words } = await import('/static/words.js');
  const words = new Words(vocabulary, { names: { A: 'Mara Lind', B: 'Ines Oko' } });
  return steps.map(([stepped, rows]) => {
    const find = (id) => rows.find((row) => row.id === id);
    return told('undo', stepped, find, () => undefined, words, 0); }); }"""


def test_no_correction_is_taken_back_without_a_word(page, served):
    """Every action there is has its sentence and its place."""
    given = {
        "accept": ({"segment": "s0003"}, "accepted half guard, Mara (A) on top, at 0:09.0", 9.0),
        "relabel": ({"segment": "s0003", "position": "mount"}, "position mount, at 0:09.0", 9.0),
        "set_top": ({"segment": "s0003", "top": None}, "nobody on top, at 0:09.0", 9.0),
        "note": ({"segment": "s0003", "text": "grip"}, "note, at 0:09.0", 9.0),
        "split": ({"segment": "s0003", "time_s": 10.5}, "split, at 0:10.5", 10.5),
        "merge": ({"segment": "s0003"}, "merge, at 0:09.0", 9.0),
        "move_border": (
            {"segment": "s0003", "edge": "end", "time_s": 11.0}, "border moved, at 0:12.4", 12.4,
        ),
        "add_segment": (
            {"start_s": 2.0, "end_s": 3.0, "position": "mount"}, "added mount, at 0:02.0", 2.0,
        ),
        "remove_segment": (
            {"segment": "s0003"}, "removed half guard, Mara (A) on top, at 0:09.0", 9.0,
        ),
        "set_bounds": (
            {"start_s": 1.0, "end_s": 19.0}, "start and end of the bout, at 0:01.0", 1.0,
        ),
        "swap_athletes": ({"from_s": 8.0}, "exchange of A and B, at 0:08.0", 8.0),
        "accept_moment": ({"moment": "m-rise"}, "accepted rise by Ines (B), at 0:07.4", 7.4),
        "add_moment": (
            {"kind": "lift", "peak_s": 6.0, "athlete": "A", "id": "m-rise"},
            "added rise by Ines (B), at 0:07.4", 7.4,
        ),
        "edit_moment": (
            {"moment": "m-rise", "kind": "lift"}, "changed rise by Ines (B), at 0:07.4", 7.4,
        ),
        "remove_moment": ({"moment": "m-rise"}, "removed rise by Ines (B), at 0:07.4", 7.4),
    }  # fmt: skip
    assert set(given) == set(ACTIONS)
    timeline = served.library.timeline(served.bout.id)
    rows = [asdict(row) for row in (*timeline.segments, *timeline.moments)]
    steps = [
        [{"count": 1, "action": action, "arguments": arguments}, rows]
        for action, (arguments, _, _) in given.items()
    ]
    with served.client() as client:
        vocabulary = client.get("/api/words").json()
    told = page.evaluate(TOLD, [steps, vocabulary])
    assert [one["sentence"] for one in told] == [
        f"Undone: {said}." for _, said, _ in given.values()
    ]
    assert [one["time"] for one in told] == [time_s for _, _, time_s in given.values()]


def test_undoing_an_import_asks_and_no_is_what_enter_takes(page, served, tmp_path):
    library, bout = served.library, served.bout.id
    before = library.timeline(bout)
    path = next(p for p in export_bout(library, bout, tmp_path, ["csv"]) if "moments" not in p.name)
    edited = path.read_text("utf-8").replace("half_guard", "mount").replace("standing", "apart")
    path.write_text(edited, encoding="utf-8")
    assert len(import_file(library, path)) == 2
    imported = library.timeline(bout)
    page.reload()
    page.wait_for_selector("#story li button")
    page.keyboard.press("z")
    page.wait_for_selector("#chooser[open] >> text=The last change was an import")
    page.keyboard.press("Enter")
    page.wait_for_selector("#chooser[open]", state="hidden")
    assert library.timeline(bout) == imported
    page.keyboard.press("z")
    page.keyboard.type("all")
    page.keyboard.press("Enter")
    say(page, "Undone: an import of 2 corrections.")
    assert library.timeline(bout) == before
    page.keyboard.press("y")
    page.keyboard.type("all")
    page.keyboard.press("Enter")
    say(page, "Made again: an import of 2 corrections.")
    assert library.timeline(bout) == imported


def test_undoing_what_came_after_an_import_does_not_ask(page, served, tmp_path):
    library, bout = served.library, served.bout.id
    corrections = [Correction("accept", {"segment": f"s000{i}"}) for i in range(3)]
    library.append_all(bout, corrections)
    library.append(bout, Correction("accept", {"segment": "s0003"}))
    page.reload()
    page.wait_for_selector("#story li button")
    page.keyboard.press("z")
    say(page, "Undone: accepted half guard, Mara (A) on top, at 0:09.0.")
    assert library.revision(bout) == 5
