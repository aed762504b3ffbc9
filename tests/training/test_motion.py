"""Bodies in motion: what pictures would show wrongly if feet slid or bodies passed through."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

pytest.importorskip("torch", reason="motion is solved with PyTorch: pip install .[training]")

from models.training.scenes.bouts import Bout, library_for, play, posed_spheres
from models.training.scenes.grammar import Hold
from models.training.scenes.motion import _swing, arrange, fit_on_mat, key_poses
from models.training.scenes.settle import PLANTED_M, PLANTS, settle
from models.training.scenes.solver import SolverSettings, solve
from models.training.scenes.templates import templates


def names_of(position):
    return next(name for name, t in templates().items() if t.position == position)


PLAN = [
    Hold(names_of("standing"), "A", "standing", None, 0.0, 1.5),
    Hold(names_of("closed_guard"), "A", "closed_guard", "A", 1.2, 2.0),
    Hold(names_of("mount"), "B", "mount", "B", 1.2, 1.5),
]


@pytest.fixture(scope="session")
def library(people):
    pair, quick = [people[0], people[1]], SolverSettings(steps=120)
    solved = [
        found.pair
        for hold in PLAN
        for found in solve(templates()[hold.template], pair, batch=4, settings=quick)
    ]
    return library_for(solved, (0, 1))


@pytest.fixture(scope="session")
def bout(people, library) -> Bout:
    return play(PLAN, 3, people, (0, 1), library)


def test_points_turned_and_moved_over_the_mat_are_found_back():
    rng = np.random.default_rng(0)
    points = rng.normal(size=(9, 3))
    turn = Rotation.from_euler("z", 0.7).as_matrix()
    yaw, shift, distance = fit_on_mat(points, points @ turn.T + [1.0, -2.0, 0.0])
    assert yaw == pytest.approx(0.7)
    np.testing.assert_allclose(shift, [1.0, -2.0], atol=1e-12)
    assert distance == pytest.approx(0, abs=1e-12)


def test_bodies_that_change_places_go_around_each_other():
    way = _swing(np.array([0, 0, 0.4]), np.array([0, 0, -0.5]), np.linspace(0, 1, 11))
    np.testing.assert_allclose(way[[0, -1]], [[0, 0, 0.4], [0, 0, -0.5]], atol=1e-9)
    assert np.linalg.norm(way, axis=1).min() > 0.39


def test_planted_feet_and_knees_do_not_slide_more_than_2_cm(bout):
    spheres = bout.spheres
    names = bout.people[0].spheres.names
    checked = 0
    for hold in range(len(PLAN)):
        still = np.flatnonzero((bout.motion.hold == hold) & (bout.motion.phase > 0.999))
        for plant in PLANTS:
            ball = spheres[still][:, :, names.index(plant)]
            for body in (0, 1):
                down = (ball[:, body, 2] - ball[:, body, 3] < PLANTED_M / 2).all()
                if down:
                    slide = np.linalg.norm(ball[:, body, :2] - ball[0, body, :2], axis=1).max()
                    assert slide <= 0.02, (hold, plant, body)
                    checked += 1
    assert checked >= 8


def test_the_lowest_point_of_the_pair_is_on_the_mat_within_15_mm(bout):
    for sample in range(0, len(bout.times), 7):
        lowest = min(
            person.vertices(body)[: person.topology.skin_size, 2].min()
            for person, body in zip(bout.people, bout.pair(sample).bodies, strict=True)
        )
        assert abs(lowest) <= 0.015, sample


def test_settling_takes_bodies_out_of_each_other(people, library):
    def depth(motion):
        balls = posed_spheres((people[0], people[1]), motion)
        gap = np.linalg.norm(balls[:, 0, :, None, :3] - balls[:, 1, None, :, :3], axis=-1)
        reach = balls[:, 0, :, None, 3] + balls[:, 1, None, :, 3]
        return (reach - gap).max(axis=(1, 2)).clip(min=0)

    rng = np.random.default_rng(0)
    pairs = arrange(rng, PLAN, library, (people[0], people[1]))
    raw = key_poses(rng, PLAN, pairs)
    settled = settle((people[0], people[1]), raw)
    assert depth(settled).mean() < 0.25 * depth(raw).mean()
    assert np.quantile(depth(settled), 0.9) < 0.02


def test_keypoints_are_those_of_the_meshes(bout):
    for sample in (0, len(bout.times) // 2):
        for index, posed in enumerate(bout.pair(sample).bodies):
            person = bout.people[index]
            expected = person.keypoints(person.vertices(posed))
            np.testing.assert_allclose(bout.keypoints[sample, index], expected, atol=1e-4)


def test_bodies_keep_their_lengths(bout):
    for left, right in ((11, 13), (13, 15), (5, 7), (7, 9)):
        length = np.linalg.norm(bout.keypoints[:, :, left] - bout.keypoints[:, :, right], axis=-1)
        assert np.ptp(length, axis=0).max() < 0.06, (left, right)  # skin over a bending joint


def test_a_missing_template_is_said(people):
    with pytest.raises(Exception, match="No solved pair"):
        arrange(np.random.default_rng(0), PLAN, {}, (people[0], people[1]))
