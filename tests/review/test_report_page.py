"""The report on the page is the report of the command, with the same filters."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

import pytest

from pipeline.outputs.study import Selection, Study, report_html, select
from pipeline.timeline import Correction
from tests.review.bouts import add_bout
from tests.review.test_accessible import axe, violations  # noqa: F401


@pytest.fixture
def two_bouts(served):
    """A second bout, against somebody else; both looked at but for one segment."""
    add_bout(
        served.library,
        Path("other.mp4"),
        names={"A": "Mara Lind", "B": "Tove Ask"},
        event="Harbour Open",
        date="2026-03-01",
        ruleset="international_federation",
    )
    for bout in served.library.bouts():
        for segment in served.library.timeline(bout.id).segments[:-1]:
            served.library.append(bout.id, Correction("accept", {"segment": segment.id}))
    return served


def test_the_page_shows_what_the_command_writes(two_bouts):
    with two_bouts.client() as client:
        shown = client.get("/api/report", params={"opponent": "tove ask"})
    study = Study.of(select(two_bouts.library, Selection(opponent="Tove Ask")))
    assert shown.text == report_html(study)
    assert "Mara Lind and Tove Ask" in shown.text


def test_every_filter_of_the_command_is_one_of_the_page(two_bouts):
    bout = two_bouts.bout.id
    cases = [
        ({}, 2), ({"bout": [bout]}, 1), ({"athlete": "Ines Oko"}, 1),
        ({"event": "harbour open"}, 1),
        ({"ruleset": "international_federation"}, 1), ({"since": "2026-01-01"}, 1),
        ({"since": "2026-01-01", "until": "2026-03-01"}, 1), ({"proposals": "true"}, 2),
    ]  # fmt: skip
    with two_bouts.client() as client:
        for asked, bouts in cases:
            choice = client.get("/api/report/choice", params=asked).json()
            assert choice["bouts"] == bouts, asked
            expected = 20.0 if "proposals" in asked else 16.0
            assert choice["studied_s"] == pytest.approx(expected * bouts), asked


def test_what_fits_nothing_is_one_sentence(two_bouts):
    with two_bouts.client() as client:
        for path in ("/api/report", "/api/report/choice", "/api/report/tables"):
            answer = client.get(path, params={"athlete": "Nobody"})
            assert answer.status_code == 422
            assert "Mara Lind" in answer.json()["detail"]
            assert client.get(path, params={"since": "yesterday"}).status_code == 422
            assert client.get(path, params={"color": "red"}).status_code == 422


def test_nothing_looked_at_yet_says_what_to_do(served):
    with served.client() as client:
        answer = client.get("/api/report/choice")
    assert answer.status_code == 422
    assert "accepted or corrected" in answer.json()["detail"]


def test_the_tables_are_those_of_the_command(two_bouts, tmp_path):
    with two_bouts.client() as client:
        answer = client.get("/api/report/tables", params={"athlete": "Mara Lind"})
    Study.of(select(two_bouts.library, Selection(athlete="Mara Lind"))).write_csv(tmp_path / "t")
    archive = zipfile.ZipFile(io.BytesIO(answer.content))
    assert sorted(archive.namelist()) == sorted(p.name for p in (tmp_path / "t").iterdir())
    for name in archive.namelist():
        assert archive.read(name) == (tmp_path / "t" / name).read_bytes()


def test_only_our_own_page_may_frame_the_report_and_nothing_in_it_can_run(two_bouts):
    with two_bouts.client() as client:
        policy = client.get("/api/report").headers["content-security-policy"]
        page = client.get("/report").headers["content-security-policy"]
        assert client.get("/report").headers["x-frame-options"] == "DENY"
    assert "default-src 'none'" in policy
    assert "script-src" not in policy
    assert "frame-ancestors 'self'" in policy
    assert "unsafe" not in page


@pytest.mark.browser
def test_choosing_on_the_page_changes_the_report_and_the_address(two_bouts, chromium):
    context = chromium.new_context(viewport={"width": 420, "height": 800})
    page = context.new_page()
    blocked: list[str] = []
    page.on("console", lambda m: blocked.append(m.text) if "Content Security" in m.text else None)
    page.on("pageerror", lambda error: blocked.append(str(error)))
    page.goto(two_bouts.link.replace(f"/bouts/{two_bouts.bout.id}", "/"))
    page.click("#to-report")
    heading = page.frame_locator("#paper").locator("h1")
    assert heading.inner_text() == "Mara Lind: 2 bouts"
    page.select_option("[name=opponent]", "Tove Ask")
    page.frame_locator("#paper").get_by_role("heading", name="Mara Lind and Tove Ask").wait_for()
    assert page.url.endswith("/report?opponent=Tove+Ask")
    assert "1 bout, 0:16 looked at" in page.inner_text("#said")
    page.wait_for_selector("#paper:not(.waiting)")
    inside = page.evaluate("document.querySelector('#paper').contentDocument.body.scrollHeight")
    assert page.locator("#paper").bounding_box()["height"] >= inside
    assert page.evaluate("document.documentElement.scrollWidth") <= 420
    page.fill("[name=since]", "2030-01-01")
    page.get_by_text("No bout fits").wait_for()
    assert page.locator("#paper").is_hidden()
    page.go_back()
    page.frame_locator("#paper").get_by_role("heading", name="Mara Lind and Tove Ask").wait_for()
    with page.expect_download() as download:
        page.click("#tables")
    assert zipfile.is_zipfile(download.value.path())
    context.close()
    assert blocked == []


@pytest.mark.browser
@pytest.mark.network
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_rule_of_wcag_is_broken(two_bouts, chromium, axe, scheme):  # noqa: F811
    context = chromium.new_context(color_scheme=scheme, viewport={"width": 1200, "height": 800})
    page = context.new_page()
    page.goto(two_bouts.link.replace(f"/bouts/{two_bouts.bout.id}", "/"))
    page.click("#to-report")
    page.wait_for_selector("#paper:not([hidden]):not(.waiting)")
    assert violations(page, axe) == []
    context.close()
