"""Bouts to be filmed elsewhere: what a film would show wrongly if the file lost something."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from models.training.scenes.joints import JOINT_NAMES
from models.training.scenes.played import Played, load_played
from pipeline.errors import MatlineError


@pytest.fixture
def played():
    rng = np.random.default_rng(0)
    count = 12
    rotation = Rotation.random(2 * count, random_state=1).as_matrix().reshape(count, 2, 3, 3)
    return Played(
        (3, 7),
        np.arange(count) / 5,
        rng.uniform(-2.5, 2.5, (count, 2, len(JOINT_NAMES))).astype(np.float32),
        rotation.astype(np.float32),
        rng.uniform(-4, 4, (count, 2, 3)).astype(np.float32),
        rng.uniform(-4, 4, (count, 2, 17, 3)).astype(np.float32),
        np.array(["standing"] * 4 + ["mount"] * 8),
        np.array([""] * 4 + ["B"] * 8),
        "{}",
    )


def test_bodies_come_back_where_they_were(played, tmp_path):
    played.save(tmp_path / "bout.npz")
    (again,) = load_played(tmp_path).values()
    assert again.who == (3, 7)
    assert np.allclose(again.times, played.times)
    assert np.allclose(again.joints, played.joints, atol=6e-4)  # radians
    assert np.allclose(again.translation, played.translation, atol=6e-4)  # metres
    assert np.allclose(again.keypoints, played.keypoints, atol=6e-4)
    turned = Rotation.from_matrix(
        (again.rotation @ played.rotation.swapaxes(-1, -2)).reshape(-1, 3, 3)
    )
    assert np.degrees(turned.magnitude()).max() < 0.01


def test_each_picture_is_labelled_with_its_own_truth(played, tmp_path):
    played.save(tmp_path / "bout.npz")
    again = Played.load(tmp_path / "bout.npz")
    assert (again.pair(3).position, again.pair(3).top) == ("standing", None)
    assert (again.pair(4).position, again.pair(4).top) == ("mount", "B")
    assert [body.person for body in again.pair(0).bodies] == [3, 7]


def test_another_file_is_named_and_not_filmed(tmp_path):
    path = tmp_path / "other.npz"
    np.savez(path, a=np.zeros(3))
    with pytest.raises(MatlineError, match=r"other\.npz"):
        Played.load(path)
