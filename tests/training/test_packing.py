"""That a pack gives back the pairs that were put in."""

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

pytest.importorskip("torch", reason="pairs are solved on PyTorch: .[training]")

from scipy.spatial.transform import Rotation

from models.training.scenes.compose_many import Found
from models.training.scenes.compositions_report import Progress
from models.training.scenes.joints import HIGH, LOW
from models.training.scenes.pairs_file import load_pairs, save_pairs
from models.training.scenes.plausibility import Quality
from models.training.scenes.pose import BodyPose, PosedPair
from models.training.scenes.solver import SolvedPair


def some_pairs(count=40):
    rng = np.random.default_rng(0)

    def body(person):
        return BodyPose(
            person,
            rng.uniform(LOW, HIGH).astype(np.float32),
            Rotation.random(random_state=rng).as_matrix().astype(np.float32),
            rng.normal(size=3).astype(np.float32),
        )

    return [
        SolvedPair(
            PosedPair(f"half guard, flat / {i}", "half_guard", "AB"[i % 2], (body(i), body(i + 1)),
                      bool(i % 3)),
            Quality(0.01, 0.02, 0.03, 0.001 * (i % 5)),
        )
        for i in range(count)
    ]  # fmt: skip


def test_a_pack_gives_back_names_and_poses(tmp_path):
    solved = some_pairs()
    save_pairs(tmp_path / "pack.npz", solved, compact=True)
    back = load_pairs(tmp_path / "pack.npz")
    assert len(back) == len(solved)
    for s, pair in zip(solved, back, strict=True):
        assert replace(pair, bodies=s.pair.bodies) == s.pair
        for body, was in zip(pair.bodies, s.pair.bodies, strict=True):
            assert body.person == was.person
            np.testing.assert_allclose(body.joints, was.joints, atol=5e-5)
            np.testing.assert_allclose(body.rotation, was.rotation, atol=2e-4)
            np.testing.assert_array_equal(body.translation, was.translation)


def test_a_pack_and_a_plain_file_are_read_as_one(tmp_path):
    solved = some_pairs()
    save_pairs(tmp_path / "pack.npz", solved[:15], compact=True)
    save_pairs(tmp_path / "plain.npz", solved[15:])
    both = load_pairs(tmp_path / "pack.npz", tmp_path / "plain.npz")
    assert [p.template for p in both] == [s.pair.template for s in solved]


def test_a_pack_takes_about_half_the_room(tmp_path):
    solved = some_pairs(300)
    save_pairs(tmp_path / "pack.npz", solved, compact=True)
    save_pairs(tmp_path / "plain.npz", solved)
    sizes = [(tmp_path / name).stat().st_size for name in ("pack.npz", "plain.npz")]
    assert sizes[0] < 0.6 * sizes[1]
    assert sizes[0] < 260 * len(solved)


def test_a_long_run_is_written_in_parts_that_are_read_as_one(tmp_path):
    solved, said = some_pairs(7), []
    progress = Progress(tmp_path / "pack.npz", said.append, each=3)
    progress.add(Found(solved[:4], Counter(kept=4)))
    progress.add(Found(solved[4:], Counter(kept=3, apart=2)))
    progress.end()
    parts = [tmp_path / name for name in ("pack.npz", "pack_2.npz", "pack_3.npz")]
    assert [p.template for p in load_pairs(*parts)] == [s.pair.template for s in solved]
    assert not (tmp_path / "pack_4.npz").exists()
    assert "7 kept, 2 apart" in said[0]
