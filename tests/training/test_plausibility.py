"""The checker of penetration is checked against shapes whose answer is known in closed form."""

import numpy as np
import pytest

pytest.importorskip("torch", reason="winding numbers run on PyTorch: pip install .[training]")

from scipy.spatial import ConvexHull

from models.training.scenes.plausibility import (
    Quality,
    deepest_inside,
    judge,
    penetration,
    winding_number,
)
from models.training.scenes.pose import BodyPose, PosedPair
from models.training.scenes.triangles import vertex_normals


def sphere(radius=0.2, points=1500, centre=(0, 0, 0)):
    """A closed sphere of triangles, outward; a Fibonacci lattice and its hull."""
    k = np.arange(points) + 0.5
    polar, turn = np.arccos(1 - 2 * k / points), np.pi * (1 + 5**0.5) * k
    unit = np.stack([np.cos(turn) * np.sin(polar), np.sin(turn) * np.sin(polar), np.cos(polar)], 1)
    faces = ConvexHull(unit).simplices
    a, b, c = (unit[faces[:, i]] for i in range(3))
    inward = (np.cross(b - a, c - a) * a).sum(1) < 0
    faces[inward] = faces[inward][:, ::-1]
    return (unit * radius + centre).astype(np.float32), faces


def test_the_winding_number_of_a_sphere_is_one_inside_and_nought_outside():
    vertices, faces = sphere()
    points = np.array([(0, 0, 0), (0.15, 0, 0), (0, 0.25, 0), (1, 1, 1)])
    assert winding_number(points, vertices, faces) == pytest.approx([1, 1, 0, 0], abs=1e-3)


def test_the_depth_of_overlapping_spheres_is_the_closed_form():
    a, faces = sphere(points=4000)
    b, _ = sphere(points=4000, centre=(0.36, 0, 0))
    assert penetration((a, b), faces) == pytest.approx(0.04, abs=0.006)


def test_bodies_that_only_touch_do_not_penetrate():
    a, faces = sphere()
    b, _ = sphere(centre=(0.401, 0, 0))
    assert penetration((a, b), faces) == 0


def test_the_checker_tells_inside_from_outside_on_a_real_skin(people):
    """Points 1.5 cm under and over the skin of a body, along its normals."""
    person = people[0]
    skin = person.rest_vertices[: person.topology.skin_size]
    faces = person.topology.skin_faces
    normals = vertex_normals(skin, faces)
    # The trunk and thighs: thin parts such as fingers are less than 1.5 cm deep.
    thick = np.flatnonzero((np.abs(skin[:, 0]) < 0.16) & (np.abs(skin[:, 2]) < 0.45))
    some = np.random.default_rng(0).choice(thick, 60, replace=False)
    under = winding_number(skin[some] - 0.015 * normals[some], skin, faces)
    over = winding_number(skin[some] + 0.015 * normals[some], skin, faces)
    assert (under > 0.5).mean() > 0.95
    assert (over < 0.5).mean() > 0.95
    assert deepest_inside(skin[some] - 0.015 * normals[some], skin, faces) > 0.012


def overlapping_pair(people, gap):
    bodies = tuple(
        BodyPose(i, np.zeros(38, np.float32), np.eye(3, dtype=np.float32), place)
        for i, place in enumerate(np.array([[0, 0, 0.92], [0, gap, 0.92]], np.float32))
    )
    return PosedPair("two people", "standing", None, bodies)


def test_a_body_standing_inside_another_is_rejected(people):
    _, quality = judge(overlapping_pair(people, 0.08), people, 0.0, 0.0)
    assert quality.penetration > 0.03
    assert not quality.accepted


def test_a_pair_is_set_down_on_the_mat(people):
    pair = overlapping_pair(people, 1.0)
    settled, quality = judge(pair, people, 0.0, 0.0)
    lowest = min(people[b.person].vertices(b)[:13380, 2].min() for b in settled.bodies)
    assert abs(lowest) < 0.006
    assert quality.penetration == 0
    moved = settled.bodies[0].translation - pair.bodies[0].translation
    assert quality.floor == pytest.approx(abs(moved[2]), abs=1e-5)


@pytest.mark.parametrize("fault", ["contact", "penetration", "floor"])
def test_each_fault_alone_rejects(fault):
    good = {"contact": 0.01, "worst_contact": 0.05, "penetration": 0.01, "floor": 0.005}
    assert Quality(**good).accepted
    assert not Quality(**(good | {fault: 0.031})).accepted
