"""The recordings that several tests read, made once a session."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import pytest

from tests.footage.recordings import every, make_video, uneven


@pytest.fixture(scope="session")
def videos(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Path]:
    """Return a function that makes a named recording once a session."""
    folder = tmp_path_factory.mktemp("videos")
    slow = Fraction(1, 30)
    recipes: dict[str, Callable[[Path], Path]] = {
        "cfr.mp4": lambda p: make_video(p, every(3000, 150)),
        "vfr.mp4": lambda p: make_video(p, uneven(150)),
        "vfr.mkv": lambda p: make_video(p, uneven(150)),
        "vfr.webm": lambda p: make_video(
            p, uneven(60), codec="libvpx", options={"deadline": "realtime", "cpu-used": "8"}
        ),
        "offset.ts": lambda p: make_video(p, every(3000, 150, 900_000), container="mpegts"),
        "offset.mp4": lambda p: make_video(p, every(3000, 60, 90_000), sound=True),
        "sound.mp4": lambda p: make_video(p, every(3000, 90), sound=True),
        "ten_bit.mp4": lambda p: make_video(
            p,
            every(3000, 60),
            codec="libx265",
            pixels="yuv420p10le",
            options={"preset": "ultrafast", "x265-params": "log-level=none:keyint=20"},
        ),
        "open_gop.mp4": lambda p: make_video(
            p,
            every(3000, 120),
            codec="libx265",
            options={"preset": "veryfast", "x265-params": "log-level=none:keyint=24:open-gop=1"},
        ),
        "refresh.mp4": lambda p: make_video(
            p, every(3000, 150), options={"g": "30", "intra-refresh": "1"}
        ),
        # An edit list hides the pictures before time 0, as trimming on a phone does.
        "trimmed.mp4": lambda p: make_video(
            p, every(3000, 150, -46_500), container_options={"avoid_negative_ts": "disabled"}
        ),
        "fragments.mp4": lambda p: make_video(
            p, every(3000, 120), container_options={"movflags": "frag_keyframe+empty_moov"}
        ),
        # The 33-bit clock of MPEG-TS starts again at 0 after two seconds.
        "wraps.ts": lambda p: make_video(p, every(3000, 120, 2**33 - 180_000), container="mpegts"),
        "one_key.mkv": lambda p: make_video(p, every(3000, 150), options={"g": "9999"}),
        "mjpeg.avi": lambda p: make_video(
            p, every(1, 60), codec="mjpeg", pixels="yuvj420p", time_base=slow, options={}
        ),
        "reordered.avi": lambda p: make_video(p, every(1, 90), time_base=slow, container="avi"),
        "bare.h264": lambda p: make_video(p, every(3000, 90), container="h264"),
        "odd.mkv": lambda p: make_video(
            p, every(3000, 30), size=(243, 137), codec="ffv1", pixels="yuv444p", options={}
        ),
    }

    def video(name: str) -> Path:
        path = folder / name
        return path if path.exists() else recipes[name](path)

    return video
