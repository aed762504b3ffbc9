"""The map and the pages at every width: nothing hides behind anything."""

from __future__ import annotations

import pytest

from pipeline.timeline import Moment
from tests.review.bouts import add_bout

pytestmark = pytest.mark.browser

PLACED = """async ([moments, width, rows]) => {
  const { placeFlags } = await import('/static/flags.js');
  const context = document.createElement('canvas').getContext('2d');
  context.font = '600 11px sans-serif';
  const x = (time) => 26 + time / 32 * (width - 26);
  const measure = (text) => context.measureText(text).width;
  return placeFlags(moments, { x, measure, left: 25, right: width, rows })
    .map(({ moment, row, left, wide }) => ({ kind: moment.kind, row, left, wide })); }"""


def placed(page, moments: list[tuple[float, str, str]], width: int, rows: int) -> list[dict]:
    """Where the page puts the flags of moments (time, kind, athlete)."""
    given = [{"peak_s": t, "kind": kind, "athlete": who} for t, kind, who in moments]
    return page.evaluate(PLACED, [given, width, rows])


@pytest.mark.parametrize("width", [374, 1000, 1410])
def test_a_sweep_beside_a_rise_keeps_its_flag(page, width):
    for moments in (
        [(26.2, "sweep", "B"), (26.9, "rise", "B")],
        [(13.4, "sweep", "B"), (13.8, "rise", "B"), (13.9, "lift", "A")],
        [(14.0, "rise", "A"), (14.0, "guard_pass", "A"), (14.0, "mount_taken", "A")],
    ):
        flags = placed(page, moments, width, 3)
        assert all(flag["row"] is not None for flag in flags)
        for one in flags:
            assert one["left"] >= 25
            assert one["left"] + one["wide"] <= width + 1
            for other in flags:
                apart = (
                    one["left"] + one["wide"] <= other["left"]
                    or other["left"] + other["wide"] <= one["left"]
                )
                assert one is other or apart or one["row"] != other["row"]


def test_where_there_is_room_for_one_flag_it_is_the_one_that_scores(page):
    crowd = [(5.0, "rise", "B"), (5.1, "sweep_attempt", "B"), (5.2, "sweep", "B")]
    flags = placed(page, crowd, 374, 1)
    assert [flag["kind"] for flag in flags if flag["row"] is not None] == ["sweep"]


def test_a_flag_leads_to_its_moment_and_a_hidden_one_says_its_name(page, served):
    box = page.locator("#map").bounding_box()
    lanes = box["y"] + box["height"] - 18 - 12 - 60 - 1
    x = box["x"] + 26 + 7.4 / 20 * (box["width"] - 28)
    page.mouse.move(x + 12, lanes - 12)
    assert page.get_attribute("#map", "title") == "0:07.4 rise by Ines (B)"
    page.mouse.click(x + 12, lanes - 12)
    page.wait_for_selector("#clock:has-text('0:07.40')")
    page.wait_for_selector("#here-card .is-meant:has-text('rise')")


OVERLAPS = """() => {
  const boxes = [...document.querySelectorAll('.sums > *, .sums td, .sums th')]
    .filter((e) => !e.hidden && e.textContent).map((e) => {
      const range = document.createRange();
      range.selectNodeContents(e);
      return [e, range.getBoundingClientRect()]; });
  const cut = (a, b) => a.left < b.right - 1 && b.left < a.right - 1
    && a.top < b.bottom - 1 && b.top < a.bottom - 1;
  return boxes.flatMap(([one, a]) => boxes
    .filter(([two, b]) => one !== two && !one.contains(two) && !two.contains(one) && cut(a, b))
    .map(([two]) => `${one.textContent} / ${two.textContent}`)); }"""


@pytest.mark.parametrize("width", [1440, 1024, 390])
def test_points_and_links_stand_beside_each_other(page, served, width):
    moments = tuple(
        Moment(t, t, t + 1, kind, "A", confidence=0.9, id=f"m{t}")
        for t, kind in ((3, "takedown"), (9, "guard_pass"), (14, "knee_on_belly_taken"))
    )
    bout = add_bout(served.library, served.bout.footage, moments=moments)
    page.set_viewport_size({"width": width, "height": 900})
    page.goto(f"{served.address}/bouts/{bout.id}")
    page.wait_for_selector(".score-table")
    assert page.evaluate(OVERLAPS) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_a_phone_shows_the_library_in_whole_words(page, served):
    page.set_viewport_size({"width": 390, "height": 844})
    page.goto(served.address)
    page.wait_for_selector("#bouts tbody tr")
    heights = page.evaluate(
        "[...document.querySelectorAll('#bouts thead th')].map(e => e.offsetHeight)"
    )
    assert max(heights) < 70  # two lines at most
    served.library.update_bout(served.bout.id, event="Harbour Open", date="2026-03-01")
    page.reload()
    page.wait_for_selector("text=Harbour Open · 2026-03-01")
    fits = "(wrap) => wrap.scrollWidth <= wrap.clientWidth"
    assert page.eval_on_selector(".table-wrap", fits)
