"""Times and samples, checked against what the demuxer and ffprobe say of the same file."""

from __future__ import annotations

import json
import math
import shutil
import subprocess
from itertools import pairwise
from pathlib import Path

import av
import numpy as np
import pytest

from pipeline.errors import MatlineError
from pipeline.footage import Footage
from tests.footage.recordings import every, make_video, number_in

TIMED = [
    "cfr.mp4",
    "vfr.mp4",
    "vfr.mkv",
    "vfr.webm",
    "offset.ts",
    "offset.mp4",
    "ten_bit.mp4",
    "open_gop.mp4",
    "refresh.mp4",
    "mjpeg.avi",
    "odd.mkv",
    "trimmed.mp4",
    "fragments.mp4",
    "wraps.ts",
    "one_key.mkv",
]
UNTIMED = ["bare.h264", "reordered.avi"]


def packet_times(path: Path) -> list[float]:
    """Return the presentation times that the container holds (libavformat's packet list)."""
    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        packets = [p for p in container.demux(stream) if p.pts is not None and not p.is_discard]
        stamps = sorted(p.pts for p in packets)
        return [float((stamp - stamps[0]) * stream.time_base) for stamp in stamps]


def expected_samples(times: list[float], rate: float) -> list[float]:
    """Return the first time at or after each instant k / rate, by searching for each k."""
    samples: list[float] = []
    for k in range(int(times[-1] * rate) + 1):
        first = next(t for t in times if t >= k / rate - 1e-6)
        if not samples or first != samples[-1]:
            samples.append(first)
    return samples


@pytest.mark.parametrize("name", TIMED)
def test_every_picture_has_the_time_its_container_gives_it(videos, name):
    footage = Footage.open(videos(name))
    times = [frame.time_s for frame in footage.frames(math.inf)]
    np.testing.assert_allclose(times, packet_times(videos(name)), atol=1e-9)
    assert footage.gaps == ()


@pytest.mark.skipif(shutil.which("ffprobe") is None, reason="ffprobe (FFmpeg) is not installed")
@pytest.mark.parametrize("name", TIMED)
def test_every_picture_has_the_time_ffprobe_gives_it(videos, name):
    command = ["ffprobe", "-v", "error", "-select_streams", "v:0", "-show_entries"]
    command += ["frame=pts_time", "-of", "json", str(videos(name))]
    said = json.loads(subprocess.run(command, capture_output=True, check=True).stdout)
    times = np.array([float(frame["pts_time"]) for frame in said["frames"]])
    ours = [frame.time_s for frame in Footage.open(videos(name)).frames(math.inf)]
    np.testing.assert_allclose(ours, times - times[0], atol=2e-6)  # ffprobe prints microseconds


@pytest.mark.parametrize("rate", [1.0, 5.0, 7.3, 24.0])
@pytest.mark.parametrize("name", TIMED)
def test_samples_are_the_first_pictures_at_or_after_each_instant(videos, name, rate):
    times = [frame.time_s for frame in Footage.open(videos(name)).frames(rate)]
    assert times == pytest.approx(expected_samples(packet_times(videos(name)), rate), abs=1e-9)


@pytest.mark.parametrize("name", ["cfr.mp4", "vfr.mp4", "vfr.mkv", "offset.ts", "open_gop.mp4"])
def test_a_sample_shows_the_picture_that_belongs_to_its_time(videos, name):
    times = packet_times(videos(name))
    for frame in Footage.open(videos(name)).frames(5.0):
        assert times[number_in(frame.image)] == pytest.approx(frame.time_s, abs=1e-9)


@pytest.mark.parametrize("name", TIMED + UNTIMED)
def test_skipping_unwanted_pictures_changes_no_pixel_of_the_wanted_ones(videos, name):
    footage = Footage.open(videos(name))
    every_picture = {frame.time_s: frame.image for frame in footage.frames(math.inf)}
    samples = list(footage.frames(5.0))
    assert len(samples) >= 5
    for sample in samples:
        np.testing.assert_array_equal(sample.image, every_picture[sample.time_s])


@pytest.mark.parametrize("name", TIMED + UNTIMED)
def test_chunks_give_exactly_the_samples_of_one_reading(videos, name):
    footage = Footage.open(videos(name))
    whole = list(footage.frames(5.0))
    some_borders = [0.0, 0.1, 0.83, 1.5, 2.0, math.inf]
    key_borders = [*footage.key_frame_times(), math.inf]
    for borders in (some_borders, key_borders):
        parts = [f for start, end in pairwise(borders) for f in footage.frames(5.0, start, end)]
        assert [f.time_s for f in parts] == [f.time_s for f in whole]
        for part, once in zip(parts, whole, strict=True):
            np.testing.assert_array_equal(part.image, once.image)


@pytest.mark.parametrize(
    "name", ["cfr.mp4", "vfr.mp4", "vfr.mkv", "offset.ts", "open_gop.mp4", "trimmed.mp4"]
)
def test_key_frame_times_are_those_of_the_key_packets(videos, name):
    with av.open(str(videos(name))) as container:
        stream = container.streams.video[0]
        packets = [p for p in container.demux(stream) if p.pts is not None]
        first = min(p.pts for p in packets if not p.is_discard)
        keys = [float((p.pts - first) * stream.time_base) for p in packets if p.is_keyframe]
    times = Footage.open(videos(name)).key_frame_times()
    # Reordering differs from key frame to key frame by a few pictures at most.
    np.testing.assert_allclose(times, [0.0, *(key for key in keys if key > 0)], atol=0.1)
    assert times[0] == 0.0


def test_pictures_of_a_file_without_timestamps_are_counted(videos):
    footage = Footage.open(videos("bare.h264"))
    assert not footage.info.timed
    frames = list(footage.frames(math.inf))
    assert [number_in(f.image) for f in frames] == list(range(90))
    steps = np.diff([f.time_s for f in frames])
    np.testing.assert_allclose(steps, 1 / footage.info.average_rate)


def test_reordered_pictures_in_avi_are_shown_in_order(videos):
    frames = list(Footage.open(videos("reordered.avi")).frames(math.inf))
    assert [number_in(f.image) for f in frames] == list(range(90))
    np.testing.assert_allclose(np.diff([f.time_s for f in frames]), 1 / 30)


def test_repeated_timestamps_give_one_picture_each(tmp_path):
    path = make_video(tmp_path / "repeat.flv", every(3000, 60), options={"bf": "0"})
    repeated = tmp_path / "repeated.flv"
    with av.open(str(path)) as source, av.open(str(repeated), "w") as out:
        stream = out.add_stream_from_template(source.streams.video[0])
        for packet in source.demux(video=0):
            if packet.pts is None:
                continue
            stamp = packet.pts - packet.pts % round(0.1 / packet.time_base)
            packet.pts = packet.dts = stamp
            packet.stream = stream
            out.mux(packet)
    times = [f.time_s for f in Footage.open(repeated).frames(math.inf)]
    np.testing.assert_allclose(times, np.arange(20) / 10, atol=1e-3)


def test_a_long_still_stretch_is_a_gap_and_costs_no_time(tmp_path):
    stamps = [*every(3000, 30), *every(3000, 30, 90_000 * 8)]
    footage = Footage.open(make_video(tmp_path / "still.mp4", stamps))
    times = [f.time_s for f in footage.frames(5.0)]
    assert times == pytest.approx([0, 0.2, 0.4, 0.6, 0.8, 8.0, 8.2, 8.4, 8.6, 8.8])
    (gap,) = footage.gaps
    assert (gap.start_s, gap.end_s) == pytest.approx((29 / 30, 8.0))


@pytest.mark.parametrize(
    "arguments", [{"rate_hz": 0}, {"rate_hz": math.nan}, {"start_s": 3, "end_s": 3}]
)
def test_a_senseless_request_is_refused(videos, arguments):
    with pytest.raises(MatlineError):
        next(Footage.open(videos("cfr.mp4")).frames(**arguments))
