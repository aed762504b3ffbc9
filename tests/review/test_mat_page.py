"""The mat is drawn or typed once, kept at once, and kept for a camera's other files too."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

import pytest

from pipeline.library import Library
from pipeline.timeline import Correction
from tests.review.bouts import add_bout
from tests.review.conftest import TOKEN, running
from tests.review.test_page import until


def key_of(served) -> str:
    from pipeline.review.mats import footage_key

    return footage_key(served.library.bout(served.bout.id))


@pytest.mark.browser
def test_a_box_drawn_on_the_picture_is_kept_in_its_pixels(page, served):
    page.click("#show-mat")
    page.wait_for_selector("#mat[open]")
    until(page, "document.querySelector('#mat img').naturalWidth === 320")
    spot = page.locator("#mat canvas").bounding_box()
    page.mouse.move(spot["x"] + 0.25 * spot["width"], spot["y"] + 0.5 * spot["height"])
    page.mouse.down()
    page.mouse.move(spot["x"] + 0.75 * spot["width"], spot["y"] + 0.9 * spot["height"], steps=4)
    page.mouse.up()
    page.click("#mat button.main-action")
    until(page, "document.querySelector('.mat-status').textContent.includes('matline read')")
    corners = served.library.mat(key_of(served))
    xs, ys = [x for x, _ in corners], [y for _, y in corners]
    assert (min(xs), max(xs)) == pytest.approx((80, 240), abs=2)  # the picture is 320 × 180
    assert (min(ys), max(ys)) == pytest.approx((90, 162), abs=2)


@pytest.mark.browser
def test_the_mat_can_be_given_and_taken_back_by_keyboard_alone(page, served):
    page.focus("#show-mat")
    page.keyboard.press("Enter")
    page.wait_for_selector("#mat[open]")
    for edge in ("10", "20", "300", "170"):
        page.keyboard.type(edge)
        page.keyboard.press("Tab")
    page.focus("#mat [name=left]")
    page.keyboard.press("Enter")
    until(page, "document.querySelector('.mat-status').textContent.startsWith('Saved')")
    assert served.library.mat(key_of(served)) == ((10, 20), (300, 20), (300, 170), (10, 170))
    page.focus("#mat [value=whole]")
    page.keyboard.press("Enter")
    page.focus("#mat button.main-action")
    page.keyboard.press("Enter")
    for _ in range(50):
        if served.library.mat(key_of(served)) == ():
            break
        page.wait_for_timeout(20)
    assert served.library.mat(key_of(served)) == ()


def test_a_camera_s_other_files_get_the_mat_only_if_their_pictures_are_as_large(served, footage):
    same = shutil.copy(footage, footage.with_name("mat 2, later.mp4"))
    other = served.library.add_bout(same, 20.0, content_key="later")
    from tests.review.bouts import write_video

    large = write_video(footage.with_name("mat 3.mp4"), 1.0, enlarged=2)
    served.library.add_bout(large, 1.0, content_key="larger")
    corners = [[10, 20], [300, 20], [300, 170], [10, 170]]
    with served.client() as client:
        path = f"/api/bouts/{served.bout.id}/mat"
        assert client.get(path).json() == {"corners": [], "neighbours": 2}
        kept = client.put(path, json={"corners": corners, "same_camera": True})
        assert kept.json()["files"] == 2
        assert "mat 2, later.mp4" in kept.json()["advice"]
        refused = client.put(path, json={"corners": [[900, 900], [950, 900], [950, 950]]})
        assert refused.status_code == 422
        assert "320 × 180" in refused.json()["detail"]
    assert served.library.mat(other.content_key) == served.library.mat(key_of(served)) != ()
    assert served.library.mat("larger") == ()


def run(line: str, folder: Path) -> str:
    """Run a line as printed, in a shell, in a folder where nothing is."""
    folder.mkdir()
    done = subprocess.run(line, shell=True, cwd=folder, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.mark.skipif(os.name == "nt", reason="its shell quotes otherwise; no such machine here")
def test_the_advice_to_read_again_works_as_printed_from_anywhere(served, footage, tmp_path):
    awkward = shutil.copy(footage, footage.with_name("it's “mat” 4, $HOME.mp4"))
    served.library.update_bout(served.bout.id, footage=awkward)
    corners = [[10, 20], [300, 20], [300, 170], [10, 170]]
    with served.client() as client:
        path = f"/api/bouts/{served.bout.id}/mat"
        kept = client.put(path, json={"corners": corners}).json()
        assert kept["corrected"] == 0
        assert "1 file, 20 s of footage" in run(f"{kept['advice']} --plan", tmp_path / "elsewhere")
        served.library.append(served.bout.id, Correction("accept", {"segment": "s0000"}))
        kept = client.put(path, json={"corners": corners}).json()
    assert kept["corrected"] == 1
    assert " --again" in kept["advice"]
    assert str(served.library.root) in kept["advice"]


@pytest.mark.browser
def test_the_other_camera_opens_at_the_same_moment(chromium, tmp_path, footage):
    library = Library(tmp_path / "library")
    near = add_bout(library, footage, title="near side")
    far = add_bout(library, footage, title="far side")
    library.link(near.id, far.id, 2.5)
    with running(library) as address:
        page = chromium.new_context().new_page()
        page.goto(f"{address}/bouts/{near.id}#token={TOKEN}")
        page.wait_for_selector("#cameras a")
        for _ in range(6):
            page.keyboard.press("ArrowRight")
        page.click("#cameras a")
        page.wait_for_url(f"**/bouts/{far.id}*")
        until(page, "document.querySelector('#clock').textContent === '0:08.50'")
        page.context.close()
