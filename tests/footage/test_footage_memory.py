"""Hours of footage take no more memory than minutes."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

from pipeline.footage import Footage, FootageError
from tests.footage.recordings import repeated


def resident_megabytes() -> float:
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * 4096 / 1e6


@pytest.mark.skipif(sys.platform != "linux", reason="reads /proc")
def test_memory_does_not_grow_with_the_length_of_the_footage(videos, tmp_path):
    path = repeated(videos("cfr.mp4"), tmp_path / "long.mp4", 60)
    early, times = 0.0, []
    for frame in Footage.open(path).frames(5.0):
        times.append(frame.time_s)
        if len(times) == 200:
            early = resident_megabytes()
    assert times == pytest.approx(np.arange(1500) / 5)
    assert resident_megabytes() - early < 10


def test_a_file_that_vanishes_after_it_was_opened_is_named(videos, tmp_path):
    path = tmp_path / "gone.mp4"
    path.write_bytes(videos("cfr.mp4").read_bytes())
    footage = Footage.open(path)
    path.unlink()
    with pytest.raises(FootageError, match=r"gone\.mp4.*no such file"):
        next(footage.frames())
