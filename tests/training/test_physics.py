"""Simulated pairs: what a picture or a bout would show wrongly if bodies did not weigh right."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from models.training.scenes.joints import HIGH, JOINT_INDEX, JOINT_NAMES, LOW
from models.training.scenes.pose import BodyPose, PosedPair

mujoco = pytest.importorskip("mujoco", reason="bodies are moved by MuJoCo: pip install .[training]")

from models.training.scenes.physics import efforts  # noqa: E402
from models.training.scenes.physics.model import PairModel, mass_of  # noqa: E402
from models.training.scenes.physics.simulate import DivergedError, Simulation  # noqa: E402
from models.training.scenes.physics.state import pair_of, state_of  # noqa: E402


@pytest.fixture(scope="module")
def model(people):
    return PairModel((people[0], people[1]))


def body(person: int, place, turn=(0.0, 0.0, 0.0), **degrees: float) -> BodyPose:
    """A body with some joints bent on both sides, turned about x, y and z."""
    joints = np.zeros(len(JOINT_NAMES), np.float32)
    for name, angle in degrees.items():
        for full in (name, f"{name}.L", f"{name}.R"):
            if full in JOINT_INDEX:
                joints[JOINT_INDEX[full]] = np.radians(angle)
    rotation = Rotation.from_euler("xyz", turn, degrees=True).as_matrix().astype(np.float32)
    return BodyPose(person, joints, rotation, np.array(place, np.float32))


def pair(first: BodyPose, second: BodyPose) -> PosedPair:
    return PosedPair("test", "", None, (first, second))


@pytest.fixture
def lying():
    """A on the back, B face down across A and a little above."""
    return pair(body(0, (0, 0, 0.16), (-90, 0, 0)), body(1, (0, 0.1, 0.62), (90, 0, 90)))


def test_bodies_of_the_engine_bend_as_ours_do(model, people):
    rng = np.random.default_rng(0)
    data = mujoco.MjData(model.model)
    for _ in range(5):
        drawn = [
            replace(body(who, rng.normal(0, 1, 3), rng.uniform(-180, 180, 3)),
                    joints=rng.uniform(LOW, HIGH).astype(np.float32))
            for who in (0, 1)
        ]  # fmt: skip
        posed = pair(*drawn)
        data.qpos[:] = state_of(model, posed)
        mujoco.mj_kinematics(model.model, data)
        for side, (who, rows) in enumerate(zip((0, 1), model.body_rows, strict=True)):
            pose = posed.bodies[side]
            heads = people[who].fk(pose.joints, pose.rotation, pose.translation).head
            bones = list(rows)
            assert np.abs(data.xpos[[rows[b] for b in bones]] - heads[bones]).max() < 1e-4
        again = pair_of(model, data.qpos, posed)
        for before, after in zip(posed.bodies, again.bodies, strict=True):
            assert np.allclose(before.joints, after.joints, atol=1e-5)
            assert np.allclose(before.rotation, after.rotation, atol=1e-5)


def test_what_comes_back_from_a_simulation_is_within_two_centimetres_of_it(model, people, lying):
    simulation = Simulation(model, lying, 0)
    wanted = efforts.base(lying.bodies[0], "curl up", 1.0, 0.2), efforts.limp(lying.bodies[1])
    list(simulation.run(wanted, 0.6))
    again = simulation.now()
    for side, rows in enumerate(model.body_rows):
        pose = again.bodies[side]
        heads = people[side].fk(pose.joints, pose.rotation, pose.translation).head
        off = simulation.data.xpos[list(rows.values())] - heads[list(rows)]
        assert np.linalg.norm(off, axis=1).max() < 0.02


def test_bodies_weigh_what_people_do(model, people):
    for person, rows in zip(people[:2], model.body_rows, strict=True):
        whole = float(model.model.body_subtreemass[rows[0]])
        assert 40 < whole < 120
        assert whole == pytest.approx(mass_of(person), rel=0.03)


def test_joints_stay_within_their_limits_under_a_strong_effort(model, lying):
    simulation = Simulation(model, lying, 1)
    beyond = [
        replace(efforts.hold(b, 1.0), joints=np.where(np.arange(len(HIGH)) % 2, HIGH, LOW))
        for b in lying.bodies
    ]
    frames = list(simulation.run((beyond[0], beyond[1]), 0.8))
    assert np.degrees(max(frame.past_limit for frame in frames)) < 12
    for pose in simulation.now().bodies:
        assert (pose.joints >= LOW - 1e-6).all()
        assert (pose.joints <= HIGH + 1e-6).all()


def test_a_limp_pair_comes_to_rest_on_the_mat_and_gains_no_energy(model, lying):
    simulation = Simulation(model, lying, 2, gripping=0.0)
    frames = list(simulation.run((efforts.limp(lying.bodies[0]), efforts.limp(lying.bodies[1])), 2))
    energy = np.array([frame.energy for frame in frames])
    assert np.diff(energy).max() < 3.0  # joules, of several hundred that falling takes
    assert energy[-1] < energy[0]
    still = np.abs(frames[-1].qpos - frames[-4].qpos)
    assert still[[0, 1, 2]].max() < 0.05  # metres in 0.12 s
    assert max(frame.depth for frame in frames[-10:]) < 0.03


def test_a_pair_that_is_pushed_stays_out_of_the_mat(model, people, lying):
    simulation = Simulation(model, lying, 3)
    pushed = [replace(efforts.limp(b), push=np.array([120.0, 0, -300.0])) for b in lying.bodies]
    lowest = np.inf
    for frame in simulation.run((pushed[0], pushed[1]), 0.8):
        for pose in pair_of(model, frame.qpos, lying).bodies:
            centres = people[pose.person].sphere_centres(
                people[pose.person].fk(pose.joints, pose.rotation, pose.translation)
            )
            names = people[pose.person].spheres.names
            inner = [i for i, n in enumerate(names) if n.startswith(("trunk", "thigh", "shank"))]
            lowest = min(lowest, float(centres[inner, 2].min()))
    assert lowest > 0.02  # middles of trunk and legs, metres above the mat


def test_the_same_seed_gives_the_same_motion(model, lying):
    def end(seed: int) -> np.ndarray:
        rng = np.random.default_rng(seed)
        wanted = tuple(efforts.drawn(rng, b, b) for b in lying.bodies)
        simulation = Simulation(model, lying, seed)
        return list(simulation.run((wanted[0], wanted[1]), 0.3))[-1].qpos

    assert np.array_equal(end(5), end(5))
    assert not np.allclose(end(5), end(6))


def test_a_grip_holds_until_it_is_pulled_too_hard(model):
    """A holds B, who hangs in the air: a strong hand keeps B up for longer than a weak one."""
    lying = pair(body(0, (0, 0, 0.16), (-90, 0, 0)), body(1, (0, 0.0, 1.2), (0, 0, 0)))
    held = {}
    for bears in (1.0, 1e6):
        simulation = Simulation(model, lying, 0, gripping=0.0)
        wrist = model.body_rows[1][model.skeletons[1].person.topology.bone_index["wrist.L"]]
        simulation.grips.hold(0, model.body_rows[0][0], wrist, bears)
        list(simulation.run((efforts.hold(lying.bodies[0]), efforts.limp(lying.bodies[1])), 0.4))
        held[bears] = simulation.grips.held
    assert held == {1.0: 0, 1e6: 1}


def test_bodies_laid_into_each_other_are_thrown_away(model):
    both = pair(body(0, (0, 0, 0.9)), body(1, (0.02, 0, 0.9)))
    with pytest.raises(DivergedError):
        list(Simulation(model, both, 0).run(
            (efforts.limp(both.bodies[0]), efforts.limp(both.bodies[1])), 0.5))  # fmt: skip


def test_a_name_that_lasts_a_moment_is_no_segment():
    from models.training.scenes.physics.bouts import segments_of

    times = np.arange(40) * 0.1
    labels = [("standing", None)] * 12 + [("takedown", "A")] * 3 + [("mount", "A")] * 20
    labels += [("mount", "B")] * 5
    found = segments_of(times, labels, least_s=0.6)
    said = [(s.position, s.top, round(s.start_s, 2), round(s.end_s, 2)) for s in found]
    assert said == [("standing", None, 0, 1.5), ("mount", "A", 1.5, 4.0)]


def test_a_simulated_bout_is_read_back_as_one_to_learn_from(people, tmp_path, lying):
    from models.training.positions.data import load_bouts
    from models.training.scenes.body import save_cast
    from models.training.scenes.pairs_file import save_pairs
    from models.training.scenes.physics.bouts import Order, make
    from models.training.scenes.plausibility import Quality
    from models.training.scenes.solver import SolvedPair

    save_cast(tmp_path / "cast.npz", people[:2])
    solved = [SolvedPair(replace(lying, position="side_control"), Quality(0, 0, 0, 0))]
    save_pairs(tmp_path / "pairs.npz", solved)
    files = str(tmp_path / "cast.npz"), (str(tmp_path / "pairs.npz"),)
    folder = tmp_path / "bouts"
    folder.mkdir()
    told = make(Order(*files, seed=1, seconds=8.0, folder=folder))
    assert told is not None
    (bout,) = load_bouts(folder)
    assert bout.keypoints.shape == (len(bout.times), 2, 17, 3)
    assert np.isfinite(bout.keypoints).all()
    ends = [s.end_s for s in bout.timeline.segments]
    assert [s.start_s for s in bout.timeline.segments][1:] == ends[:-1]
    assert bout.keypoints[..., 2].min() > -0.05  # metres: nobody sinks into the mat


def test_nobody_bridges_face_down():
    on_the_back, face_down = body(0, (0, 0, 0.2), (-90, 0, 0)), body(0, (0, 0, 0.2), (90, 0, 0))

    def kinds(b: BodyPose) -> set[str]:
        rng = np.random.default_rng(0)
        return {efforts.drawn(rng, b, b).kind for _ in range(200)}

    assert "bridge" in kinds(on_the_back)
    assert "bridge" not in kinds(face_down)
