from dataclasses import astuple, replace

import numpy as np
import pytest

pytest.importorskip("torch", reason="the solver runs on PyTorch: pip install .[training]")

import torch

from models.training.scenes.body import HIGH, JOINT_NAMES, LOW
from models.training.scenes.contacts import parse
from models.training.scenes.pairs_file import load_pairs, save_pairs
from models.training.scenes.rig import Rig, turn_by
from models.training.scenes.solve_many import plan, tally
from models.training.scenes.solver import SolverSettings, mirror, solve, solve_all, swap
from models.training.scenes.templates import template
from pipeline.bodies.look import COCO_KEYPOINTS
from pipeline.errors import MatlineError

HANDSHAKE = """# handshake
position: standing
top: none
about: Both upright, right hands together.
A starts standing, facing north, at 0 -45 86; right sh_fw 40
B starts standing, facing south, at 0 45 86; right sh_fw 40
A soles on mat, firmly
B soles on mat, firmly
A right hand to B right hand within 1
A head apart from B head by 60
"""


def keypoints(pair, people):
    return [people[b.person].keypoints(people[b.person].vertices(b)) for b in pair.bodies]


@pytest.fixture(scope="module")
def handshakes(people):
    return solve(parse(HANDSHAKE)[0], people, batch=6, seed=4)


def test_the_rig_places_spheres_where_the_body_does(people):
    rng = np.random.default_rng(0)
    n = len(people)
    joints = LOW + (HIGH - LOW) * rng.uniform(size=(n, len(JOINT_NAMES)))
    vector, place = rng.normal(size=(n, 3)), rng.normal(size=(n, 3))
    as_tensor = lambda x: torch.as_tensor(x, dtype=torch.float32)  # noqa: E731
    rotation = turn_by(as_tensor(vector))
    bodies = Rig(people).select(torch.arange(n))
    posed = bodies.pose(as_tensor(joints), rotation, as_tensor(place))
    for i, person in enumerate(people):
        bones = person.fk(joints[i], rotation[i].numpy(), place[i])
        assert np.allclose(posed.centre[i].numpy(), person.sphere_centres(bones), atol=1e-4)


def test_what_the_text_says_touches_touches_on_the_skins(handshakes, people):
    for solved in handshakes:
        assert solved.quality.contact < 0.02
        a, b = keypoints(solved.pair, people)
        wrist = COCO_KEYPOINTS.index("left_wrist" if solved.pair.mirrored else "right_wrist")
        # Hands meet, so wrists are at most two hands apart (about 10 cm each, from memory).
        assert np.linalg.norm(a[wrist] - b[wrist]) < 0.25
        assert np.linalg.norm(a[0] - b[0]) > 0.4


def test_every_joint_stays_within_its_limits(handshakes):
    for solved in handshakes:
        for body in solved.pair.bodies:
            assert np.all(body.joints >= LOW - 1e-5)
            assert np.all(body.joints <= HIGH + 1e-5)


def test_the_lowest_point_of_a_pair_is_on_the_mat(handshakes, people):
    for solved in handshakes:
        skins = [people[b.person].vertices(b)[:13380] for b in solved.pair.bodies]
        assert abs(min(s[:, 2].min() for s in skins)) < 0.015


def test_some_pairs_are_mirrored_and_two_people_are_never_the_same(handshakes):
    assert {s.pair.mirrored for s in handshakes} == {True, False}
    assert all(s.pair.bodies[0].person != s.pair.bodies[1].person for s in handshakes)


def test_a_mirror_exchanges_left_and_right_and_twice_is_the_same(handshakes, people, swapped):
    pair = handshakes[0].pair
    other = mirror(pair)
    flip = np.diag([-1.0, 1.0, 1.0])
    for before, after in zip(keypoints(pair, people), keypoints(other, people), strict=True):
        assert np.abs(after - before[swapped] @ flip).max() < 0.006
    for a, b in zip(mirror(other).bodies, pair.bodies, strict=True):
        assert np.allclose(a.joints, b.joints)
        assert np.allclose(a.rotation, b.rotation)
        assert np.allclose(a.translation, b.translation)


def test_swapping_names_keeps_the_one_on_top_on_top(people):
    quick = SolverSettings(steps=2)
    pair = solve(template("mount, low"), people, batch=1, settings=quick)[0].pair
    other = swap(pair)
    assert (pair.top, other.top) == ("A", "B")
    assert other.bodies[1] is pair.bodies[0]


def test_the_same_seed_solves_the_same_pairs(people):
    quick = SolverSettings(steps=15)
    both = [template("mount, low"), template("turtle, attacker behind")]
    first, again = (solve_all(both, people, seed=9, settings=quick) for _ in range(2))
    for a, b in zip(first, again, strict=True):
        assert a.pair.bodies[0].person == b.pair.bodies[0].person
        assert np.allclose(a.pair.bodies[1].joints, b.pair.bodies[1].joints, atol=1e-4)
    assert [s.pair.position for s in first] == ["mount", "turtle"]


def test_the_work_list_gives_every_template_its_share():
    batches = plan(["a", "b", "c"], per_template=5, batch=4, seed=1)
    work = [name for batch in batches for name in batch.templates]
    assert {name: work.count(name) for name in "abc"} == {"a": 5, "b": 5, "c": 5}
    assert len({batch.seed for batch in batches}) == len(batches)


def test_pairs_come_back_from_disk_and_files_join(handshakes, tmp_path):
    one, two = tmp_path / "one.npz", tmp_path / "two.npz"
    save_pairs(one, handshakes[:2])
    save_pairs(two, handshakes[2:])
    pairs = load_pairs(one, two, rejected=True)
    assert len(pairs) == len(handshakes)
    for stored, solved in zip(pairs, handshakes, strict=True):
        assert (stored.template, stored.position, stored.top) == ("handshake", "standing", None)
        assert stored.mirrored == solved.pair.mirrored
        for a, b in zip(stored.bodies, solved.pair.bodies, strict=True):
            assert a.person == b.person
            assert np.array_equal(a.joints, b.joints)
    kept, made = astuple(tally(list(pairs.solved()))), astuple(tally(handshakes))
    assert kept == pytest.approx(made, rel=1e-6)  # a file keeps float32


def test_pairs_that_are_not_plausible_stay_out_unless_asked_for(handshakes, tmp_path):
    bad = replace(handshakes[0], quality=replace(handshakes[0].quality, penetration=0.2))
    path = tmp_path / "pairs.npz"
    save_pairs(path, [bad, handshakes[1]])
    assert len(load_pairs(path)) == handshakes[1].quality.accepted
    assert len(load_pairs(path, rejected=True)) == 2


def test_a_file_that_holds_no_pairs_is_named(tmp_path):
    with pytest.raises(MatlineError, match="no pairs at"):
        load_pairs(tmp_path / "missing.npz")
    wrong = tmp_path / "wrong.npz"
    np.savez(wrong, joints=np.zeros(3))
    with pytest.raises(MatlineError, match="not a file of pairs"):
        load_pairs(wrong)
