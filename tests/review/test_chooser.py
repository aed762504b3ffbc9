"""Choosing by typing: what is typed never reaches the page, however fast or slowly."""

from __future__ import annotations

import pytest

from tests.review.test_page import go, saved, until

pytestmark = pytest.mark.browser
SPEEDS_MS = (50, 350, 1000)


def type_slowly(page, text: str, pause_ms: int) -> None:
    """Type a text letter by letter; the page's own clock runs on between the letters."""
    for letter in text:
        page.keyboard.press(letter)
        page.clock.run_for(pause_ms)


def closed(page) -> bool:
    """Whether no dialog is open."""
    return page.locator("dialog[open]").count() == 0


@pytest.fixture
def at_13(chromium, served):
    """The page at 13 s, in side control, on a clock that the test moves on."""
    context = chromium.new_context(viewport={"width": 1366, "height": 768})
    page = context.new_page()
    page.clock.install()
    page.goto(served.link)
    page.wait_for_selector("#story li button")
    go(page, 13)
    yield page
    context.close()


@pytest.mark.parametrize("pause_ms", SPEEDS_MS)
def test_a_position_s_whole_name_typed_at_any_speed_is_one_correction(at_13, served, pause_ms):
    type_slowly(at_13, "r", pause_ms)
    type_slowly(at_13, "mount", pause_ms)
    assert served.library.revision(served.bout.id) == 0
    at_13.keyboard.press("Enter")
    saved(at_13, served, 1)
    at_13.clock.run_for(2000)
    assert at_13.inner_text("#clock") == "0:13.00"
    (made,) = served.library.corrections(served.bout.id)
    assert (made.action, made.arguments["position"]) == ("relabel", "mount")
    assert closed(at_13)


@pytest.mark.parametrize("pause_ms", SPEEDS_MS)
def test_the_hint_s_own_example_gives_the_label_it_promises(at_13, served, pause_ms):
    at_13.keyboard.press("r")
    example = at_13.inner_text("#chooser-hint").split(": ")[-1]
    type_slowly(at_13, example, pause_ms)
    at_13.keyboard.press("Enter")
    saved(at_13, served, 1)
    assert served.library.timeline(served.bout.id).at(13.0).position == "half_guard/knee shield"
    assert closed(at_13)


@pytest.mark.parametrize("pause_ms", SPEEDS_MS)
def test_enter_in_a_list_takes_from_the_list_alone(at_13, served, pause_ms):
    for letter in "elift":
        type_slowly(at_13, letter, pause_ms)
    at_13.keyboard.press("Enter")
    at_13.clock.run_for(pause_ms)
    type_slowly(at_13, "b", pause_ms)
    at_13.keyboard.press("Enter")
    saved(at_13, served, 1)
    for key in ("r", "ArrowDown", "Enter"):
        at_13.keyboard.press(key)
        at_13.clock.run_for(pause_ms)
    saved(at_13, served, 2)
    at_13.clock.run_for(2000)
    made = served.library.corrections(served.bout.id)
    assert [one.action for one in made] == ["add_moment", "relabel"]
    assert at_13.inner_text("#clock") == "0:13.00"


def test_a_key_held_down_answers_one_question_only(page, served):
    go(page, 13)
    page.keyboard.press("e")
    for _ in range(5):
        page.keyboard.down("Enter")  # from the second on the browser calls it a repeat
    page.keyboard.up("Enter")
    assert page.inner_text("#chooser-title") == "rise: by whom?"
    for _ in range(5):
        page.keyboard.down("Enter")
    page.keyboard.up("Enter")
    saved(page, served, 1)
    page.wait_for_timeout(200)
    assert served.library.revision(served.bout.id) == 1
    assert page.inner_text("#clock") == "0:13.00"


def test_typing_goes_on_in_an_open_list_after_a_click_beside_it(page, served):
    go(page, 13)
    page.keyboard.press("r")
    page.click("#chooser-hint")
    page.keyboard.type("mount")
    page.keyboard.press("Enter")
    saved(page, served, 1)
    assert served.library.timeline(served.bout.id).at(13.0).position == "mount"


def test_a_name_is_found_as_people_write_it(page, served):
    for typed, name in (
        ("north-south", "north–south"), ("North South", "north–south"), ("d", "side control"),
        ("belly", "knee on belly"), ("?", "unknown"), ("/spider", None), ("xyz", None),
    ):  # fmt: skip
        page.keyboard.press("r")
        page.keyboard.type(typed)
        first = page.locator("#chooser-list li").first
        if name is None:
            assert "Nothing here is called" in page.inner_text("#chooser-hint")
            page.keyboard.press("Enter")
            assert not closed(page)
        else:
            assert name in first.inner_text()
        page.keyboard.press("Escape")
        until(page, "!document.querySelector('dialog[open]')")
    assert served.library.revision(served.bout.id) == 0
