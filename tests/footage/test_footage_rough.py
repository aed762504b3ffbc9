"""Decoding without smoothing block edges: nearly the same pictures, and only where it may."""

from __future__ import annotations

import math
from itertools import pairwise

import av
import numpy as np
import pytest

from pipeline.footage import Footage
from tests.footage.recordings import every, make_video

LARGE = (1280, 720)


def recording(path, key_every, size=LARGE):
    """Return 4 s at a bit rate at which block edges show."""
    options = {
        "g": str(key_every),
        "preset": "ultrafast",
        "x264-params": "no-deblock=0",
        "crf": "34",
    }
    return make_video(path, every(3000, 120), size=size, options=options)


def images(footage, **how):
    return {frame.time_s: frame.image for frame in footage.frames(5.0, **how)}


def psnr(a, b):
    """Peak signal-to-noise ratio in dB (as defined in ITU-T J.340)."""
    error = np.mean((a.astype(float) - b) ** 2)
    return math.inf if error == 0 else 10 * math.log10(255**2 / error)


def test_rough_pictures_have_the_same_times_and_nearly_the_same_pixels(tmp_path):
    footage = Footage.open(recording(tmp_path / "a.mp4", 30))
    exact, rough = images(footage), images(footage, rough=True)
    assert list(rough) == list(exact)
    ratios = [psnr(rough[t], exact[t]) for t in exact]
    assert min(ratios) > 30
    assert any(map(math.isfinite, ratios)), "nothing was left out"


@pytest.mark.parametrize(
    ("size", "key_every"), [(LARGE, 90), ((640, 360), 30)], ids=["far keys", "small"]
)
def test_where_it_would_show_pictures_are_exact(tmp_path, size, key_every):
    footage = Footage.open(recording(tmp_path / "a.mp4", key_every, size))
    exact, rough = images(footage), images(footage, rough=True)
    for time_s, image in exact.items():
        np.testing.assert_array_equal(rough[time_s], image)


def test_a_recording_without_an_index_is_decoded_exactly(tmp_path):
    video = recording(tmp_path / "a.mp4", 30)
    stream = tmp_path / "a.ts"
    with av.open(str(video)) as given, av.open(str(stream), "w", format="mpegts") as made:
        out = made.add_stream_from_template(given.streams.video[0])
        for packet in given.demux(video=0):
            if packet.dts is not None:
                packet.stream = out
                made.mux(packet)
    footage = Footage.open(stream)
    exact, rough = images(footage), images(footage, rough=True)
    assert len(exact) > 15
    for time_s, image in exact.items():
        np.testing.assert_array_equal(rough[time_s], image)


def test_rough_chunks_give_exactly_the_pictures_of_one_rough_reading(tmp_path):
    footage = Footage.open(recording(tmp_path / "a.mp4", 30))
    whole = images(footage, rough=True)
    borders = [0.0, 1.0, 1.7, 3.0, math.inf]  # also one that is no key frame
    parts = {}
    for start_s, end_s in pairwise(borders):
        parts |= images(footage, start_s=start_s, end_s=end_s, rough=True)
    assert list(parts) == list(whole)
    for time_s, image in whole.items():
        np.testing.assert_array_equal(parts[time_s], image)
