"""Filmed bouts as read: what would be trained on and judged by if names or places got lost."""

import numpy as np
import pandas as pd
import pytest

from models.training.positions.data import Samples
from models.training.positions.readings import (
    BoutReading,
    _fits_exchanged,
    load_readings,
    save_readings,
)
from pipeline.errors import MatlineError
from pipeline.timeline import Segment, Timeline

COUNT = 30


@pytest.fixture
def reading():
    rng = np.random.default_rng(0)
    keypoints = rng.uniform(0, 600, (COUNT, 2, 17, 3)).astype(np.float32)
    keypoints[..., 2] = rng.uniform(0, 1, (COUNT, 2, 17))
    keypoints[3, 1] = np.nan
    times = np.arange(COUNT) / 5
    scores = pd.DataFrame({"mount": 0.75, "standing": 0.25}, pd.Index(times, name="time_s"))
    scores.iloc[2] = np.nan
    exchanged = np.arange(COUNT) > 24
    truth = Timeline((Segment(0, 4, "standing"), Segment(4, 6, "mount", "B")))
    return BoutReading(
        "held-1", "pair", times, keypoints, np.full(COUNT, np.nan), scores, truth, exchanged
    )


def test_a_reading_comes_back(reading, tmp_path):
    save_readings([reading], tmp_path / "read.npz")
    (again,) = load_readings(tmp_path / "read.npz")
    np.testing.assert_allclose(again.keypoints[..., :2], reading.keypoints[..., :2], atol=0.06)
    np.testing.assert_allclose(again.keypoints[..., 2], reading.keypoints[..., 2], atol=0.006)
    assert np.isnan(again.keypoints[3, 1]).all()
    pd.testing.assert_frame_equal(again.scores, reading.scores)
    assert (again.name, again.reader, again.swaps) == ("held-1", "pair", 1)
    assert again.timeline.segments == reading.timeline.segments
    with pytest.raises(MatlineError, match="no readings"):
        load_readings(tmp_path / "none.npz")


def test_exchanged_names_are_seen_where_places_tell_them():
    true = np.zeros((4, 2, 17, 2), np.float32)
    true[:, 1] = 100
    read = np.concatenate([true, np.ones((4, 2, 17, 1), np.float32)], axis=-1)
    read[1] = read[1, ::-1]
    read[2, ..., :2] = 50  # between both: nobody can tell
    read[3] = np.nan
    told = _fits_exchanged(read, true)
    assert told[:2].tolist() == [0, 1]
    assert np.isnan(told[2:]).all()


def test_what_is_learned_of_a_reading_has_both_orders_of_names(reading):
    samples = Samples.of_readings([reading])
    half = len(samples.y) // 2
    assert set(samples.y[:half]) == {"standing", "mount/B"}
    assert set(samples.y[half:]) == {"standing", "mount/A"}
    assert set(samples.group) == {"held-1"}
