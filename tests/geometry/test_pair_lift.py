"""The pair in space, of figures built in metres and seen through OpenCV's camera.

Expected heights follow from Drillis and Contini's proportions (from memory); the tolerance is about
three times the lift's mean error of heights.
"""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.geometry import LOOKS_NAMES, features, lift, pair_lift
from pipeline.positions import PositionModel
from pipeline.timeline.states import STATES, exchanged
from tests.geometry.stick import F
from tests.geometry.test_lifting import seen, standing

TIMES = np.arange(20) * 0.2
HIPS, SHOULDERS = [11, 12], [5, 6]


def two_standing(elevation: float = 20) -> np.ndarray:
    """Two on their feet, four seconds long, (20, 2, 17, 3)."""
    pair = np.stack([standing(-0.45, 1), standing(0.45, -1)])
    return np.repeat(seen(pair, elevation), len(TIMES), axis=0)


@pytest.fixture
def no_lift():
    pair_lift.use(None)
    yield
    pair_lift.use(pair_lift.shipped_lift())


@pytest.mark.parametrize("elevation", [5, 20, 40])
def test_standing_bodies_are_as_high_in_space_from_every_camera(elevation):
    space = lift(TIMES, two_standing(elevation)).space[10]
    hips = (F["thigh"] + F["shank"]) / F["trunk"]
    np.testing.assert_allclose(space[:, HIPS, 2].mean(1), hips, atol=0.35)
    np.testing.assert_allclose(space[:, SHOULDERS, 2].mean(1), hips + 1, atol=0.45)


def test_two_on_their_feet_look_it():
    states = lift(TIMES, two_standing()).states[10]
    assert states[STATES.index("standing")] + states[STATES.index("apart")] > 0.5
    assert states.sum() == pytest.approx(1, abs=1e-4)


def test_exchanged_athletes_exchange_the_answer_and_nothing_else():
    keypoints = two_standing()
    one, other = lift(TIMES, keypoints), lift(TIMES, keypoints[:, ::-1])
    np.testing.assert_allclose(other.space[:, ::-1], one.space, atol=1e-4)
    back = [STATES.index(exchanged(state)) for state in STATES]
    np.testing.assert_allclose(other.states[:, back], one.states, atol=1e-5)


def test_footage_told_in_blocks_is_told_as_if_in_one(monkeypatch):
    rng = np.random.default_rng(1)
    times = np.cumsum(rng.uniform(0.12, 0.3, 120))
    keypoints = rng.uniform(0.1, 1, (120, 2, 17, 3)) * [1900, 1000, 1]
    whole = lift(times, keypoints)
    monkeypatch.setattr(pair_lift, "BLOCK", 31)
    np.testing.assert_allclose(lift(times, keypoints).states, whole.states, atol=1e-5)


def test_an_athlete_who_is_not_seen_is_nowhere():
    keypoints = two_standing()
    keypoints[:, 1] = np.nan
    space = lift(TIMES, keypoints).space
    assert np.isnan(space[:, 1]).all()
    assert np.isfinite(space[:, 0]).all()


def test_features_kept_before_there_was_a_lift_are_still_read(no_lift):
    table = features(TIMES, two_standing())
    assert table[list(LOOKS_NAMES)].isna().all(axis=None)
    model = PositionModel.load()
    old = table.drop(columns=list(LOOKS_NAMES))
    np.testing.assert_array_equal(model.predict(old), model.predict(table))


def test_what_the_pair_looks_like_counts():
    table = features(TIMES, two_standing())
    told = table.copy()
    told[list(LOOKS_NAMES)] = -3.0
    told["a_looks_mount"] = 0.0
    model = PositionModel.load()
    assert (model.predict(told)["mount/A"] > model.predict(table)["mount/A"]).all()
