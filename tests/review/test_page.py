"""The correcting page in a real browser, used as a human would."""

from __future__ import annotations

import csv
import io
from fractions import Fraction

import av
import numpy as np
import pytest

pytestmark = pytest.mark.browser


def go(page, time_s: float) -> None:
    """Move the playhead by keys: to the start, then by seconds."""
    for _ in range(3):
        page.keyboard.press("Shift+ArrowLeft")
    for _ in range(int(time_s)):
        page.keyboard.press("ArrowRight")
    until(page, f"document.querySelector('#clock').textContent.endsWith('{time_s:05.2f}')")


def until(page, expression: str, tries: int = 200) -> None:
    """Wait for an expression to hold; Playwright's own way needs the eval that the CSP forbids."""
    for _ in range(tries):
        if page.evaluate(expression):
            return
        page.wait_for_timeout(20)
    raise AssertionError(f"still not so: {expression}")


def saved(page, served, revision: int) -> None:
    """Wait until the library holds so many changes."""
    for _ in range(100):
        if served.library.revision(served.bout.id) >= revision:
            return
        page.wait_for_timeout(30)
    raise AssertionError(f"revision {served.library.revision(served.bout.id)}, not {revision}")


def test_a_bout_corrected_by_keys_alone_is_kept_and_exported(page, served):
    go(page, 10)
    page.keyboard.press("r")
    page.keyboard.type("op")
    page.keyboard.press("Enter")
    saved(page, served, 1)

    go(page, 4)  # the nearest border is 4.6 s
    page.keyboard.press("b")
    saved(page, served, 2)
    page.keyboard.press("]")  # one sample of 0.2 s later
    saved(page, served, 3)

    go(page, 13)
    page.keyboard.press("x")
    saved(page, served, 4)

    page.reload()
    page.wait_for_selector("#story li button")
    text = page.inner_text("#story")
    assert "open guard, Mara (A) on top" in text
    assert "0:04.2" in text
    assert "mount, Ines (B) on top" in text

    with page.expect_download() as download:
        page.click("text=Timeline as CSV")
    rows = list(csv.DictReader(io.StringIO(download.value.path().read_text(encoding="utf-8"))))
    by_position = {row["position"]: row for row in rows}
    assert float(by_position["closed_guard"]["start_s"]) == pytest.approx(4.2)
    assert by_position["open_guard"]["state"] == "corrected"
    assert by_position["mount"]["top"] == "B"
    timeline = served.library.timeline(served.bout.id)
    assert [row["id"] for row in rows] == [s.id for s in timeline.segments]


def test_accept_undo_and_redo_are_one_key_each_and_outlive_a_reload(page, served):
    page.keyboard.press("a")
    saved(page, served, 1)
    assert served.library.bout(served.bout.id).counts["accepted"] == 1
    page.reload()
    page.wait_for_selector("#story li button")
    page.keyboard.press("z")
    saved(page, served, 2)
    assert served.library.bout(served.bout.id).counts["accepted"] == 0
    page.keyboard.press("y")
    saved(page, served, 3)
    assert served.library.bout(served.bout.id).counts["accepted"] == 1


def test_split_merge_top_and_moments_work_by_key(page, served):
    go(page, 6)
    page.keyboard.press("s")
    saved(page, served, 1)
    page.keyboard.press("t")
    saved(page, served, 2)
    assert served.library.timeline(served.bout.id).at(6.0).top == "B"
    page.keyboard.press("m")
    saved(page, served, 3)
    assert served.library.timeline(served.bout.id).at(5.0).top == "B"
    page.keyboard.press("e")
    page.keyboard.type("sw")
    page.keyboard.press("Enter")
    page.wait_for_selector("text=sweep: by whom?")
    page.keyboard.type("b")
    page.keyboard.press("Enter")
    saved(page, served, 4)
    moment = next(m for m in served.library.timeline(served.bout.id).moments if m.kind == "sweep")
    assert (moment.athlete, moment.peak_s) == ("B", 6.0)
    page.keyboard.press("Delete")
    saved(page, served, 5)
    assert all(m.kind != "sweep" for m in served.library.timeline(served.bout.id).moments)


def test_another_windows_change_is_loaded_not_overwritten(page, served):
    from pipeline.timeline import Correction

    served.library.append(served.bout.id, Correction("accept", {"segment": "s0005"}))
    page.keyboard.press("t")  # on what this window still believes
    page.wait_for_selector("text=Another window changed this bout")
    timeline = served.library.timeline(served.bout.id)
    assert served.library.revision(served.bout.id) == 1
    assert [s.state for s in timeline.segments].count("accepted") == 1
    page.keyboard.press("a")
    saved(page, served, 2)


def test_a_border_dragged_by_mouse_lands_on_a_sample(page, served):
    box = page.locator("#map").bounding_box()
    left = 26

    def x(time_s: float) -> float:
        return box["x"] + left + time_s / 20 * (box["width"] - left)

    y = box["y"] + box["height"] - 18 - 12 - 50  # the lane of who is on top: A
    page.mouse.move(x(9.0), y)
    page.mouse.down()
    page.mouse.move(x(10.03), y, steps=5)
    page.mouse.up()
    saved(page, served, 1)
    timeline = served.library.timeline(served.bout.id)
    assert timeline.at(9.5).position == "closed_guard"
    assert timeline.segments[3].start_s == pytest.approx(10.0)


def test_frame_steps_follow_the_stored_timestamps(page, served):
    go(page, 5)
    page.keyboard.press(".")
    until(page, "document.querySelector('#clock').textContent == '0:05.04'")  # 25 a second
    page.keyboard.press(",")
    page.keyboard.press(",")
    until(page, "document.querySelector('#clock').textContent == '0:04.96'")


def test_the_picture_shown_is_the_one_of_the_playhead(page, served):
    # Both stand apart at 2 s and lie from 3 s on; the middle of the picture tells.
    script = """() => {
      const v = document.querySelector('video');
      const c = document.createElement('canvas');
      c.width = 320; c.height = 180; const x = c.getContext('2d'); x.drawImage(v, 0, 0);
      return [...x.getImageData(160, 105, 1, 1).data].slice(0, 3); }"""
    go(page, 2)
    until(page, "!document.querySelector('video').seeking")
    standing = page.evaluate(script)
    go(page, 6)
    until(page, "!document.querySelector('video').seeking")
    page.wait_for_timeout(100)
    lying = page.evaluate(script)
    assert max(standing) < 120 < min(lying)


def test_every_step_shows_exactly_the_picture_that_the_file_holds_there(chromium, served, tmp_path):
    """A file of uneven picture times, each picture showing its number in black and white bars."""
    random = np.random.default_rng(4)
    pts = np.concatenate([[0], np.cumsum(random.integers(17, 120, 199))])  # milliseconds
    path = tmp_path / "uneven.mp4"
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=1000)
        stream.width, stream.height, stream.pix_fmt = 320, 180, "yuv420p"
        stream.time_base = stream.codec_context.time_base = Fraction(1, 1000)
        for number, time in enumerate(pts):
            bars = [(number >> bit) & 1 for bit in range(8)]
            picture = np.repeat(np.array(bars, np.uint8) * 255, 40)
            picture = np.broadcast_to(picture[None, :, None], (180, 320, 3)).copy()
            frame = av.VideoFrame.from_ndarray(picture, "rgb24")
            frame.pts, frame.time_base = int(time), Fraction(1, 1000)
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
    served.library.update_bout(served.bout.id, footage=path)
    read = """() => {
      const v = document.querySelector('#still:not([hidden])') ?? document.querySelector('video');
      const c = document.createElement('canvas');
      c.width = 320; c.height = 180;
      const x = c.getContext('2d', {willReadFrequently: true}); x.drawImage(v, 0, 0, 320, 180);
      return [...Array(8).keys()].reduce((sum, bit) =>
        sum + ((x.getImageData(40 * bit + 20, 90, 1, 1).data[0] > 127) << bit), 0); }"""
    shown_is = f"({read})() === "
    page = chromium.new_page()
    page.goto(served.link)
    until(page, "document.querySelector('video').readyState >= 2", tries=500)
    for number in [*range(1, 25), *range(23, 10, -1)]:
        page.keyboard.press("." if number > page.evaluate(read) else ",")
        clock = f"0:{pts[number] / 1000:05.2f}"
        until(page, shown_is + str(number))
        shown = page.inner_text("#clock")
        assert abs(float(shown[2:]) - float(clock[2:])) < 0.011, (number, shown, clock)
    page.close()


def test_notes_and_names_that_look_like_markup_stay_text(page, served):
    hostile = "<img src=x onerror=document.title='owned'>"
    page.keyboard.press("w")
    page.fill("textarea[name=text]", hostile)
    page.keyboard.press("Control+Enter")
    saved(page, served, 1)
    page.click("text=Names and rules")
    page.fill("input[name=A]", hostile)
    page.click("#form-save")
    until(page, "document.querySelector('#title').textContent.includes('onerror')")
    assert hostile in page.inner_text("#here-card")
    assert page.locator("img:not(#still, .mat-picture img)").count() == 0
    assert page.title() != "owned"


def test_a_missing_file_is_said_and_correcting_still_works(chromium, served, tmp_path):
    served.library.update_bout(served.bout.id, footage=tmp_path / "moved.mp4")
    page = chromium.new_page()
    page.goto(served.link)
    page.wait_for_selector("text=moved.mp4 is not there")
    page.keyboard.press("a")
    saved(page, served, 1)
    page.close()


def test_a_file_the_browser_cannot_play_is_copied_and_then_played(chromium, served, tmp_path):
    source = tmp_path / "camera.avi"
    with av.open(str(served.bout.footage)) as given, av.open(str(source), "w") as made:
        stream = made.add_stream("mpeg4", rate=25)
        stream.width, stream.height, stream.pix_fmt = 320, 180, "yuv420p"
        for frame in given.decode(video=0):
            made.mux(stream.encode(frame.reformat(format="yuv420p")))
        made.mux(stream.encode())
    served.library.update_bout(served.bout.id, footage=source)
    page = chromium.new_page()
    page.goto(served.link)
    until(page, "document.querySelector('video').videoWidth == 320", tries=1000)
    assert served.library.bout(served.bout.id).proxy.suffix == ".mp4"
    page.close()


def test_the_scoreboard_by_hand_stands_beside_proposed_points(page, served):
    page.wait_for_selector("text=study aid")
    page.click("text=Scoreboard")
    page.select_option("select[name=athlete]", "B")
    page.fill("input[name=points]", "3")
    page.click("#form-save")
    page.wait_for_selector("text=A 0, B 3")
    page.reload()
    page.wait_for_selector("text=A 0, B 3")


def test_a_bout_is_found_in_the_library_by_any_word_of_it(page, served):
    from tests.review.bouts import add_bout

    add_bout(served.library, served.bout.footage, title="Another", event="Harbour Open")
    page.goto(served.address)
    page.wait_for_selector("#bouts tbody tr")
    assert page.locator("#bouts tbody tr:visible").count() == 2
    served.library.add_bout(served.bout.footage, 20.0, title="Still unread")
    page.reload()
    page.wait_for_selector("text=not read yet")
    assert page.locator("a", has_text="Still unread").count() == 0
    page.fill("#find", "harbour ANOTHER")
    assert page.locator("#bouts tbody tr:visible").count() == 1
    page.fill("#find", "lind")
    page.click("text=Mara Lind – Ines Oko")
    page.wait_for_selector("#story li button")
