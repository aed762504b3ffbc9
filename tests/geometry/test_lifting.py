"""Heights over the mat of figures built in metres and seen through OpenCV's camera.

Expected heights follow from Drillis and Contini's proportions (from memory); the tolerance is
three times the network's mean error.
"""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.bodies.look import COCO_MIRROR
from pipeline.geometry import LIFTED_NAMES, features, heights_over_mat
from pipeline.geometry.lifting import LIFTED
from tests.geometry.stick import F, figure
from tests.geometry.test_calibration import Camera

STATURE_M = 1.75


def standing(x: float, facing: float) -> np.ndarray:
    """A standing body (17, 3) in metres, z up, arms a little out."""
    flat = figure(arms=(160.0, 200.0), thighs=(175.0, 185.0), breadth=0.7, stature=STATURE_M)
    out = np.zeros((17, 3))
    out[:, 2] = -flat[:, 1] + flat[15, 1]
    out[:, 0] = x
    out[:, 1] = flat[:, 0] * facing
    out[0, 0] += 0.1 * facing  # the nose looks at the other
    return out


def seen(world: np.ndarray, elevation: float) -> np.ndarray:
    """Keypoints (1, 2, 17, 3) from 4 m away, `elevation` degrees up."""
    e, a = np.radians(elevation), np.radians(-60)
    eye = np.array([np.cos(a) * np.cos(e), np.sin(a) * np.cos(e), np.sin(e)]) * 4 + [0, 0, 0.8]
    points = Camera(eye, (0, 0, 0.8)).picture(world.reshape(-1, 3)).reshape(1, 2, 17, 2)
    return np.concatenate([points, np.full((1, 2, 17, 1), 0.9)], axis=-1)


@pytest.mark.parametrize("elevation", [5, 20, 40])
def test_standing_bodies_are_as_high_from_every_camera(elevation):
    pair = np.stack([standing(-0.45, 1), standing(0.45, -1)])
    row = features(np.zeros(1), seen(pair, elevation)).iloc[0]
    hips = (F["thigh"] + F["shank"]) / F["trunk"]
    for athlete in "ab":
        assert row[f"{athlete}_hip_over_mat"] == pytest.approx(hips, abs=0.25)
        assert row[f"{athlete}_shoulder_over_mat"] == pytest.approx(hips + 1, abs=0.35)
        assert row[f"{athlete}_foot_over_mat"] < 0.5


def test_exchanged_athletes_and_mirrored_pictures_have_their_heights():
    pair = np.stack([standing(-0.3, 1), standing(0.5, -1) * [1, 1, 0.8]])
    points = seen(pair, 25)[..., :2]
    told = heights_over_mat(points)
    np.testing.assert_allclose(heights_over_mat(points[:, ::-1]), told[:, ::-1], atol=1e-5)
    mirrored = points[:, :, COCO_MIRROR] * [-1, 1]
    np.testing.assert_allclose(heights_over_mat(mirrored), told, atol=1e-4)


def test_a_body_whose_trunk_is_not_seen_has_no_height():
    points = seen(np.stack([standing(-0.3, 1), standing(0.5, -1)]), 25)[..., :2]
    points[:, 1, 5] = np.nan
    assert np.isnan(heights_over_mat(points)).all()
    assert heights_over_mat(np.zeros((0, 2, 17, 2))).shape == (0, 2, len(LIFTED))
    assert len(LIFTED_NAMES) == 2 * len(LIFTED)
