"""A recording whose pictures are numbered, with a bout, skeletons and heights that are known."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from pipeline.library import Library
from pipeline.timeline import Moment, Segment, State, Timeline
from tests.footage.recordings import make_video, uneven

SEEN = State.ACCEPTED
PICTURES = 300

TIMELINE = Timeline(
    (
        Segment(0, 4, "half_guard", "B", state=SEEN),
        Segment(4, 8, "side_control", "A", state=SEEN, note="underhook first"),
        Segment(8, 10, "mount", "A", state=SEEN),
    ),
    (
        Moment(1.0, 1.5, 2.0, "rise", "A", 0.4, state=SEEN),
        Moment(3.5, 4.0, 5.0, "sweep", "A", 3.0, state=SEEN),
        Moment(7.8, 8.0, 9.0, "mount_taken_attempt", "A", 2.0, state=SEEN),
    ),
)


def body(x, y=180.0):
    """A body that stands upright at x: head over shoulders over hips, trunk 60 pixels long."""
    keypoints = np.full((17, 3), np.nan, np.float32)
    places = {
        0: (x, y - 90), 1: (x - 5, y - 95), 2: (x + 5, y - 95), 5: (x - 15, y - 60),
        6: (x + 15, y - 60), 11: (x - 10, y), 12: (x + 10, y), 13: (x - 10, y + 20),
        14: (x + 10, y + 20),
    }  # fmt: skip
    for index, place in places.items():
        keypoints[index] = (*place, 0.9)
    return keypoints


def skeletons():
    """One sample every 0.2 s; A walks to the right at 20 pixels a second, B stands."""
    times = np.arange(0, 10, 0.2)
    return times, np.stack([[body(80 + 20 * t), body(320)] for t in times]).astype(np.float32)


@pytest.fixture(scope="session")
def recording(tmp_path_factory) -> Path:
    """Return 300 numbered pictures at uneven times, about 30 a second."""
    folder = tmp_path_factory.mktemp("teach")
    return make_video(folder / "bout.mp4", uneven(PICTURES), size=(480, 270))


@pytest.fixture
def library(tmp_path, recording) -> Library:
    library = Library(tmp_path / "library")
    times, keypoints = skeletons()
    index = pd.Index(times, name="time_s")
    features = pd.DataFrame(
        {"a_hip_height": 0.5 + 0.1 * times, "b_hip_height": np.full(len(times), 1.0)}, index=index
    )
    bout = library.add_bout(
        recording, 10.0, title="Kim – Noor", names={"A": "Kim", "B": "Noor"}, we="A"
    )
    library.save_reading(
        bout.id, times, keypoints, features, pd.DataFrame(index=index), TIMELINE, reader="invented"
    )
    return library
