"""How near what is learned from comes: a wrong figure would tell that the space is filled."""

import numpy as np
import pandas as pd
import pytest

pytest.importorskip("torch", reason="pairs are solved with PyTorch: pip install .[training]")

from models.training.positions.families.coverage import Poses, nearest, summary
from pipeline.bodies.look import COCO_KEYPOINTS

MIRRORED = [
    COCO_KEYPOINTS.index(
        name.replace("left", "?").replace("right", "left").replace("?", "right")
    )
    for name in COCO_KEYPOINTS
]  # fmt: skip


@pytest.fixture
def world():
    return np.random.default_rng(0).uniform(0, 1.5, (6, 2, 17, 3)).astype(np.float32)


def turned(world, degrees=70.0, shift=(3.0, -2.0, 0.0)):
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return world @ np.array([[c, s, 0], [-s, c, 0], [0, 0, 1]]) + np.array(shift)


def test_a_pose_elsewhere_on_the_mat_mirrored_or_with_athletes_exchanged_is_the_same(world):
    mirrored = world[:, :, MIRRORED] * [1, -1, 1]
    for same in (turned(world), turned(mirrored), turned(world[:, ::-1]), mirrored[:, ::-1]):
        np.testing.assert_allclose(nearest(Poses.of(world), Poses.of(same)), 0, atol=2e-3)


def test_a_pose_lifted_off_the_mat_is_as_far_as_it_was_lifted(world):
    lifted = turned(world[:1], shift=(0, 0, 0.2))
    np.testing.assert_allclose(nearest(Poses.of(world[:1]), Poses.of(lifted)), 0.2, atol=1e-3)


def test_the_nearest_counts_and_nothing_is_infinitely_far(world):
    poses = Poses.of(world)
    far = nearest(poses[np.array([0])], poses[np.arange(1, 6)])
    assert 0.2 < far[0] < 1
    assert nearest(poses[np.array([0])], poses[np.arange(6)])[0] < 2e-3
    assert np.isinf(nearest(poses, poses[np.arange(0)])).all()


def test_the_table_shows_each_position_in_centimetres():
    table = pd.DataFrame(
        {"template": ["a", "b"], "position": ["mount", "turtle"], "written": [0.1, 0.3]}
    )
    assert "| mount | 10.0 (10.0) |" in summary(table)
    assert "| all | 20.0 (28.0) |" in summary(table)
