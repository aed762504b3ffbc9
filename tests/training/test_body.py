import numpy as np
import pytest

from models.training.scenes.body import (
    HIGH,
    JOINT_NAMES,
    JOINTS,
    LOW,
    cast,
    load_cast,
    mirror_joints,
    save_cast,
)  # fmt: skip
from pipeline.bodies.look import COCO_KEYPOINTS
from pipeline.errors import MatlineError

MIRROR = np.diag([-1.0, 1.0, 1.0])


def rest_pose(person):
    return np.zeros(len(JOINTS)), np.eye(3), person.rest_heads[0]


def any_pose(seed):
    rng = np.random.default_rng(seed)
    joints = LOW + (HIGH - LOW) * rng.uniform(0.2, 0.8, len(JOINTS))
    turn, _ = np.linalg.qr(rng.normal(size=(3, 3)))
    return joints, turn * np.sign(np.linalg.det(turn)), rng.normal(size=3)


def test_the_rest_pose_is_the_rest_shape(people):
    person = people[0]
    skin = person.skin(person.fk(*rest_pose(person)))
    assert np.allclose(skin, person.rest_vertices, atol=1e-5)


def test_a_mirrored_pose_has_mirrored_keypoints_with_left_and_right_exchanged(people, swapped):
    for seed, person in enumerate(people[:3]):
        joints, rotation, translation = any_pose(seed)
        points = person.keypoints(person.skin(person.fk(joints, rotation, translation)))
        mirrored = person.fk(
            mirror_joints(joints), MIRROR @ rotation @ MIRROR, MIRROR @ translation
        )
        other = person.keypoints(person.skin(mirrored))
        # The skeleton mirrors exactly; the skin of the base mesh is symmetric to a few mm.
        assert np.abs(other - points[swapped] @ MIRROR).max() < 0.006


def test_bending_keeps_every_bone_as_long_as_it_was(people):
    person = people[1]
    parents = person.topology.parents
    child = np.flatnonzero(parents >= 0)
    rest = np.linalg.norm(person.rest_heads[child] - person.rest_heads[parents[child]], axis=1)
    heads = person.fk(*any_pose(5)).head
    bent = np.linalg.norm(heads[child] - heads[parents[child]], axis=1)
    assert np.allclose(bent, rest, atol=1e-5)


def test_a_batch_of_poses_equals_the_poses_one_by_one(people):
    person = people[0]
    poses = [any_pose(seed) for seed in range(3)]
    batch = person.fk(*(np.stack(part) for part in zip(*poses, strict=True)))
    for i, pose in enumerate(poses):
        assert np.allclose(batch.head[i], person.fk(*pose).head, atol=1e-5)
    assert np.allclose(person.skin(batch)[2], person.skin(person.fk(*poses[2])), atol=1e-5)


def test_limbs_have_human_proportions(people):
    """Drillis & Contini's fractions of stature, as tabulated in Winter, *Biomechanics and Motor
    Control of Human Movement* (from memory). The table measures between surface landmarks, the
    rig between centres of rotation, so single segments agree less closely than whole limbs."""
    table = {
        ("upperarm01.L", "lowerarm01.L"): 0.186,
        ("lowerarm01.L", "wrist.L"): 0.146,
        ("upperleg01.L", "lowerleg01.L"): 0.245,
        ("lowerleg01.L", "foot.L"): 0.246,
    }
    lengths = {pair: [] for pair in table}
    for person in people:
        row = person.topology.bone_index
        for a, b in table:
            bone = person.rest_heads[row[a]] - person.rest_heads[row[b]]
            lengths[a, b].append(np.linalg.norm(bone) / person.height)
    measured = [np.mean(found) for found in lengths.values()]
    expected = list(table.values())
    assert measured == pytest.approx(expected, rel=0.20)
    assert sum(measured[:2]) == pytest.approx(sum(expected[:2]), rel=0.12)
    assert sum(measured[2:]) == pytest.approx(sum(expected[2:]), rel=0.05)


def test_flexing_a_knee_brings_heel_to_seat_and_an_elbow_the_wrist_to_shoulder(people):
    """Common practice, no source: what a coach means by bending."""
    person = people[0]
    joints = np.zeros(len(JOINTS))
    for name, degrees in (("knee.L", 140), ("elb.R", 95)):
        joints[JOINT_NAMES.index(name)] = np.radians(degrees)
    points = dict(
        zip(
            COCO_KEYPOINTS,
            person.keypoints(person.skin(person.fk(joints, np.eye(3), np.zeros(3)))),
            strict=True,
        )
    )
    gap = np.linalg.norm
    assert gap(points["left_ankle"] - points["left_hip"]) < 0.32
    assert gap(points["right_wrist"] - points["right_shoulder"]) < 0.25
    assert points["left_ankle"][1] > points["left_knee"][1]


def test_the_same_seed_gives_the_same_people_and_they_differ(people):
    again = cast(2, seed=0)
    for a, b in zip(again, people, strict=False):
        assert np.array_equal(a.rest_vertices, b.rest_vertices)
    heights = [p.height for p in people]
    assert max(heights) - min(heights) > 0.08
    assert all(1.35 < h < 2.1 for h in heights)


def test_a_saved_cast_comes_back_and_is_small(people, tmp_path):
    path = tmp_path / "cast.npz"
    save_cast(path, people)
    loaded = load_cast(path)
    assert path.stat().st_size < 10e6 / 48 * len(people) + 1e6
    pose = any_pose(3)
    for a, b in zip(people, loaded, strict=True):
        assert np.allclose(a.skin(a.fk(*pose)), b.skin(b.fk(*pose)), atol=2e-4)
        assert a.spheres.names == b.spheres.names
        assert a.shape == pytest.approx(b.shape)
    assert set(loaded[0].topology.helpers) == {"helper-hair", "helper-tights", "helper-skirt"}
    assert np.array_equal(loaded[0].topology.skin_faces, people[0].topology.skin_faces)


def test_a_file_that_is_no_cast_is_named(tmp_path):
    with pytest.raises(MatlineError, match="no cast at"):
        load_cast(tmp_path / "missing.npz")
    wrong = tmp_path / "wrong.npz"
    np.savez(wrong, a=np.zeros(3))
    with pytest.raises(MatlineError, match="not a saved cast"):
        load_cast(wrong)


def test_spheres_ride_with_the_skin(people):
    person = people[0]
    bones = person.fk(*any_pose(1))
    centres, skin = person.sphere_centres(bones), person.skin(bones)
    for name in ("shank.L.3", "forearm.R.2", "head"):
        i = person.spheres.index(name)
        nearest = np.linalg.norm(skin - centres[i], axis=1).min()
        assert 0.4 * person.spheres.radii[i] < nearest < 1.3 * person.spheres.radii[i]
