"""What is kept small in memory says the same as what is done at once."""

import numpy as np
import pandas as pd

from pipeline.geometry import LOOKS_NAMES, features
from pipeline.overnight.reading import features_in_blocks
from pipeline.settings import Settings
from tests.overnight.figures import STICK


def test_features_are_the_same_whether_measured_in_blocks_or_at_once():
    rng = np.random.default_rng(0)
    times = np.cumsum(rng.uniform(0.15, 0.3, 900))
    keypoints = np.ones((900, 2, 17, 3), np.float32)
    keypoints[..., :2] = STICK + np.array([[50, 50], [60, 52]])[:, None]
    keypoints[..., :2] += rng.normal(0, 3, (900, 2, 17, 2))
    keypoints[rng.random((900, 2, 17)) < 0.05] = np.nan
    settings = Settings()
    at_once = features(times, keypoints, settings=settings.geometry)
    in_blocks = features_in_blocks(times, keypoints, settings, block_s=40)
    told = list(LOOKS_NAMES)  # by a network in single precision
    pd.testing.assert_frame_equal(in_blocks[told], at_once[told], rtol=0, atol=1e-5)
    measured = [name for name in at_once if name not in told]
    pd.testing.assert_frame_equal(in_blocks[measured], at_once[measured], rtol=0, atol=1e-9)


def test_a_file_without_a_single_picture_of_people_has_empty_features():
    empty = features_in_blocks(np.zeros(0), np.zeros((0, 2, 17, 3)), Settings())
    assert len(empty) == 0
    assert "a_hip_height" in empty.columns
