"""The errors that training reads with are those that were measured, or it learns from fiction."""

import numpy as np
import pytest

from models.training.scenes.misread import CROP_SCALE, WRONG, misread, table

SIDE = 400.0
"""Pixels of the crop; keypoints further apart than errors reach, so that wrong is plain."""


def read(hidden, severity=1.0, samples=1000):
    rng = np.random.default_rng(3)
    still = np.random.default_rng(4).uniform(0, 1, (2, 17, 2))
    still -= still.min(axis=(0, 1))
    still *= SIDE / CROP_SCALE / still.max()
    true = np.broadcast_to(still, (samples, 2, 17, 2)).copy()
    flags = np.full((samples, 2, 17), hidden)
    found = misread(rng, true, flags, np.arange(samples) / 5, severity)
    away = np.linalg.norm(found[..., :2] - true, axis=-1)
    return away > WRONG * SIDE, found[..., 2]


@pytest.mark.parametrize("hidden", [False, True])
def test_as_many_keypoints_go_wrong_as_were_measured(hidden):
    wrong, _ = read(hidden)
    measured = table().wrong[int(hidden)]
    np.testing.assert_allclose(wrong.mean(axis=(0, 1)), measured, atol=0.07)


def test_wrong_keypoints_are_told_with_less_confidence_but_not_always():
    wrong, confidence = read(False)
    assert confidence[wrong].mean() < confidence[~wrong].mean() - 0.15
    assert (confidence[wrong] > 0.8).mean() > 0.02
    assert confidence.min() >= 0
    assert confidence.max() <= 1


def test_an_error_lasts_longer_than_a_sample():
    wrong, _ = read(False)
    after_wrong = wrong[1:][wrong[:-1]].mean()
    assert after_wrong > 2 * wrong.mean()


def test_severity_makes_more_keypoints_wrong():
    assert read(True, severity=2.0)[0].mean() > read(True)[0].mean() + 0.05
