"""The browser's clock and the samples' clock are one: the same second shows the same picture."""

from __future__ import annotations

import base64
import shutil

import pytest

from pipeline.footage import Footage, make_proxy
from tests.footage.recordings import number_in

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
SHOW = """async ([data, times]) => {
  const video = document.createElement("video");
  video.src = "data:video/mp4;base64," + data;
  await new Promise((done, fail) => { video.onloadeddata = done; video.onerror = fail; });
  const [width, height] = [video.videoWidth, video.videoHeight];
  const canvas = document.createElement("canvas");
  [canvas.width, canvas.height] = [width, height];
  const pen = canvas.getContext("2d", {willReadFrequently: true});
  const block = Math.floor(width / 12);
  const shown = [];
  for (const time of times) {
    const presented = new Promise(done => {
      video.requestVideoFrameCallback((_, frame) => done(frame.mediaTime));
    });
    video.currentTime = time;
    const mediaTime = await presented;
    pen.drawImage(video, 0, 0);
    let number = 0;
    for (let bit = 0; bit < 12; bit++) {
      const x = bit * block + Math.floor(block / 2), y = Math.floor(height / 6);
      number += (pen.getImageData(x, y, 1, 1).data[0] > 125) << bit;
    }
    shown.push([mediaTime, number]);
  }
  return shown;
}"""


@pytest.fixture(scope="module")
def page():
    playwright = pytest.importorskip("playwright.sync_api")
    if CHROMIUM is None:
        pytest.skip("no Chromium is installed")
    with playwright.sync_playwright() as running:
        browser = running.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield browser.new_page()
        browser.close()


def shown(page, path, times: list[float]) -> list[tuple[float, int]]:
    """Return the time and the number that a browser shows for each time, sought backwards.

    A picture is sought a millisecond in: at the very border either neighbour would be right.
    """
    data = base64.b64encode(path.read_bytes()).decode()
    pairs = page.evaluate(SHOW, [data, [time + 0.001 for time in reversed(times)]])
    return [(time, number) for time, number in reversed(pairs)]


@pytest.mark.browser
@pytest.mark.parametrize("name", ["vfr.mkv", "offset.ts", "ten_bit.mp4", "offset.mp4"])
def test_the_copy_shows_each_sample_at_its_time(page, videos, tmp_path, name):
    samples = list(Footage.open(videos(name)).frames(5.0))[1:]
    copy = make_proxy(videos(name), tmp_path / "copy.mp4")
    seen = shown(page, copy, [s.time_s for s in samples])
    assert [number for _, number in seen] == [number_in(s.image) for s in samples]
    assert [time for time, _ in seen] == pytest.approx([s.time_s for s in samples], abs=1e-4)


@pytest.mark.browser
@pytest.mark.parametrize("name", ["cfr.mp4", "sound.mp4", "trimmed.mp4"])
def test_an_original_that_needs_no_copy_shows_each_sample_at_its_time(page, videos, name):
    samples = list(Footage.open(videos(name)).frames(5.0))[1:]
    seen = shown(page, videos(name), [s.time_s for s in samples])
    assert [number for _, number in seen] == [number_in(s.image) for s in samples]
    assert [time for time, _ in seen] == pytest.approx([s.time_s for s in samples], abs=1e-4)


@pytest.mark.browser
def test_an_original_of_uneven_rate_is_at_most_one_picture_off(page, videos):
    # With reordered pictures MP4 states lengths in decoding order; Chromium goes by those lengths.
    samples = list(Footage.open(videos("vfr.mp4")).frames(5.0))[1:]
    seen = shown(page, videos("vfr.mp4"), [s.time_s for s in samples])
    off = [number - number_in(s.image) for (_, number), s in zip(seen, samples, strict=True)]
    assert set(off) <= {-1, 0}
