"""The copy for browsers keeps the times that samples have, and never half exists."""

from __future__ import annotations

import math
from fractions import Fraction
from itertools import pairwise

import av
import numpy as np
import pytest

from pipeline.footage import Footage, FootageError, make_proxy, needs_proxy
from tests.footage.recordings import every, make_video, number_in, uneven


@pytest.mark.parametrize(
    ("name", "needed"),
    [
        ("cfr.mp4", False),
        ("sound.mp4", False),
        ("vfr.webm", False),
        ("vfr.mkv", True),
        ("ten_bit.mp4", True),
        ("offset.ts", True),
        ("offset.mp4", True),
        ("mjpeg.avi", True),
    ],
)
def test_only_what_browsers_cannot_play_is_copied(videos, name, needed):
    assert needs_proxy(Footage.open(videos(name)).info) is needed


@pytest.mark.parametrize(
    "name", ["vfr.mkv", "ten_bit.mp4", "offset.ts", "offset.mp4", "reordered.avi", "odd.mkv"]
)
def test_every_picture_of_the_copy_has_its_sample_time(videos, tmp_path, name):
    source = Footage.open(videos(name))
    copy = Footage.open(make_proxy(videos(name), tmp_path / "copy.mp4"))
    assert not needs_proxy(copy.info)
    assert copy.info.first_pts == 0
    ours, theirs = list(source.frames(math.inf)), list(copy.frames(math.inf))
    times = [frame.time_s for frame in theirs]
    np.testing.assert_allclose(times, [f.time_s for f in ours], atol=1 / 90_000)
    if name != "odd.mkv":
        assert [number_in(f.image) for f in theirs] == [number_in(f.image) for f in ours]


@pytest.mark.parametrize("degrees", [90, 180, 270])
def test_the_copy_stands_upright_without_help_from_the_player(tmp_path, degrees):
    path = make_video(tmp_path / "turned.mp4", every(3000, 20), rotation=degrees)
    source = Footage.open(path)
    copy = Footage.open(make_proxy(path, tmp_path / "copy.mp4"))
    assert copy.info.rotation == 0
    assert (copy.info.width, copy.info.height) == (source.info.width, source.info.height)
    shown, expected = next(copy.frames()).image, next(source.frames()).image
    assert np.abs(shown.astype(int) - expected).mean() < 6


def test_the_index_comes_before_the_pictures_so_that_playing_starts_at_once(videos, tmp_path):
    data = make_proxy(videos("vfr.mkv"), tmp_path / "copy.mp4").read_bytes()
    assert data.index(b"moov") < data.index(b"mdat")


def test_key_frames_are_close_enough_to_step_back(videos, tmp_path):
    copy = Footage.open(make_proxy(videos("cfr.mp4"), tmp_path / "copy.mp4"))
    assert max(b - a for a, b in pairwise(copy.key_frame_times())) <= 0.6


@pytest.mark.parametrize("rate", [44_100, 48_000])
def test_the_sound_stays_in_step_with_the_pictures(tmp_path, rate):
    path = tmp_path / "beep.mkv"
    click_s = 1.5
    with av.open(str(path), "w") as out:
        video = out.add_stream("libx264", rate=30)
        video.width, video.height, video.pix_fmt = 64, 64, "yuv420p"
        audio = out.add_stream("pcm_s16le", rate=rate, layout="mono")
        for index in range(90):
            frame = av.VideoFrame.from_ndarray(np.zeros((64, 64, 3), np.uint8), "rgb24")
            frame.pts, frame.time_base = index, Fraction(1, 30)
            out.mux(video.encode(frame))
        out.mux(video.encode(None))
        samples = np.zeros((1, 3 * rate), np.int16)
        samples[0, int(click_s * rate) : int((click_s + 0.05) * rate)] = 20_000
        for start in range(0, samples.shape[1], 1024):
            piece = av.AudioFrame.from_ndarray(samples[:, start : start + 1024], "s16", "mono")
            piece.sample_rate, piece.pts = rate, start
            out.mux(audio.encode(piece))
        out.mux(audio.encode(None))
    copy = make_proxy(path, tmp_path / "copy.mp4")
    with av.open(str(copy)) as container:
        loud = [
            float(frame.pts * frame.time_base)
            for frame in container.decode(audio=0)
            if np.abs(frame.to_ndarray()).max() > 0.2
        ]
    assert loud[0] == pytest.approx(click_s, abs=0.03)  # an AAC frame is 0.021 s


def test_progress_rises_to_one(tmp_path):
    path = make_video(tmp_path / "a.mkv", uneven(30))
    shares: list[float] = []
    make_proxy(path, tmp_path / "copy.mp4", shares.append)
    assert shares == sorted(shares)
    assert shares[-1] == 1.0


def test_a_copy_that_fails_leaves_nothing_behind(videos, tmp_path):
    class Stop(Exception):
        pass

    def stop(share: float) -> None:
        if share > 0.5:
            raise Stop

    with pytest.raises(Stop):
        make_proxy(videos("vfr.mkv"), tmp_path / "copy.mp4", stop)
    assert list(tmp_path.iterdir()) == []


def test_a_copy_that_cannot_be_written_says_where(videos, tmp_path):
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(FootageError, match="could not be written"):
        make_proxy(videos("vfr.mkv"), tmp_path / "file" / "copy.mp4")
