"""Poses around solved ones: still two bodies on a mat, and honest about what they are."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

pytest.importorskip("torch", reason="bodies are made with PyTorch: pip install .[training]")

from models.training.scenes.joints import HIGH, LOW
from models.training.scenes.shards import truth_row
from models.training.scenes.variety import GIVES_M, Shares, Variety, tumbled

KINDS = {
    "moved": Shares(1, 0, 0, 0),
    "between": Shares(0, 1, 0, 0),
    "met": Shares(0, 0, 1, 0),
    "tumbling": Shares(0, 0, 0, 1),
}


@pytest.fixture(scope="module", params=KINDS)
def drawn(request, studio, standing_pair):
    """Thirty poses drawn around a standing pair, of one kind."""
    variety = Variety(studio.figures, studio.matrices, KINDS[request.param])
    rng = np.random.default_rng(4)
    pair, other = standing_pair(0.5), standing_pair(1.0)
    return request.param, pair, [variety.draw(rng, pair, other) for _ in range(30)], variety


def test_joints_stay_within_their_limits(drawn):
    _, _, varied, _ = drawn
    joints = np.stack([body.joints for pair in varied for body in pair.bodies])
    assert (joints >= LOW - 1e-5).all()
    assert (joints <= HIGH + 1e-5).all()


def test_bodies_pass_hardly_deeper_into_each_other(drawn):
    _, pair, varied, variety = drawn
    allowed = variety._depth(pair) + GIVES_M
    assert max(variety._depth(v) for v in varied) <= allowed + 1e-4


def test_the_lowest_point_is_on_the_mat_or_in_the_air(drawn, studio):
    kind, _, varied, _ = drawn
    lowest = np.array(
        [min(studio.figures[b.person].lowest(studio.matrices(b)) for b in v.bodies) for v in varied]
    )
    assert lowest.min() > -1e-3
    assert (lowest.max() < 1e-3) == (kind != "tumbling")
    assert lowest.max() < 0.81


def test_only_moved_limbs_keep_the_name_of_the_position(drawn):
    kind, pair, varied, _ = drawn
    fresh = [v for v in varied if v is not pair]
    assert len(fresh) > 10
    assert {v.position for v in fresh} == {"standing" if kind == "moved" else ""}


def test_tumbling_keeps_the_pair_as_it_is_to_itself(standing_pair):
    pair = standing_pair(0.6)
    turned = tumbled(np.random.default_rng(1), pair)

    def apart(p):
        first, second = p.bodies
        return first.rotation.T @ (second.translation - first.translation)

    assert apart(turned) == pytest.approx(apart(pair), abs=1e-5)
    assert not np.allclose(turned.bodies[0].rotation, pair.bodies[0].rotation)


def test_a_shard_says_that_a_pose_is_no_position(studio, standing_pair):
    from models.training.scenes.picture import random_shots

    rng = np.random.default_rng(0)
    scene = studio.scene(rng, replace(standing_pair(0.7), position=""))
    (picture,) = studio.photograph(scene, random_shots(rng, scene, 1, 96))
    assert truth_row(picture, ["standing test"])["position"] == -1
