"""A browser, which reads WebVTT by the standard's own rules, finds every cue we write."""

import shutil

import pytest

from pipeline.outputs import timeline_to_webvtt
from pipeline.outputs.text import clock
from tests.outputs.test_round_trip import BOUT

CHROMIUM = shutil.which("chromium")
PAGE = """<!doctype html><video><track default src="/bout.vtt"></video>"""
CUES = """async () => {
    const track = document.querySelector("track");
    track.track.mode = "hidden";
    if (track.readyState < 2) await new Promise((done, failed) => {
        track.onload = done;
        track.onerror = () => failed(new Error("the track does not load"));
    });
    return [...track.track.cues].map(c => [c.id, c.startTime, c.endTime, c.text]);
}"""


@pytest.mark.browser
@pytest.mark.skipif(CHROMIUM is None, reason="Chromium is not installed")
def test_chromium_reads_every_cue_with_its_name_times_and_text():
    # Reference: Chromium's WebVTT parser.
    sync_api = pytest.importorskip("playwright.sync_api")
    written = timeline_to_webvtt(BOUT)
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        page = browser.new_page()
        page.route("**/bout.vtt", lambda r: r.fulfill(body=written, content_type="text/vtt"))
        page.route("http://bout.test/", lambda r: r.fulfill(body=PAGE, content_type="text/html"))
        page.goto("http://bout.test/")
        cues = page.evaluate(CUES)
        browser.close()
    assert [(name, clock(start)) for name, start, _, _ in cues] == [
        ("segment-s1", "00:00:00.000"),
        ("segment-s2", "00:00:10.040"),
        ("moment-m1", "00:00:18.000"),
        ("segment-s3", "00:00:20.123"),
        ("moment-m2", "00:00:25.000"),
    ]
    assert cues[3][3] == "north–south, B on top, proposed\nleft\n&nbsp;\nright"
