"""The second renderer draws what the truth says; none of this needs Blender."""

from __future__ import annotations

import numpy as np
import pytest

from models.training.scenes.camera import Camera, random_camera
from models.training.scenes.second_renderer.describe import blender_camera, camera_of, describe
from models.training.scenes.second_renderer.meshes import refined
from models.training.scenes.second_renderer.scene_file import (
    BlenderCamera,
    Part,
    SceneFile,
    read_scene,
    write_scene,
)
from models.training.scenes.second_renderer.sheets import Sheet, posed_sheet


def seen_by_blender(camera: BlenderCamera, points: np.ndarray) -> np.ndarray:
    """Pixels as ``bpy_extras.object_utils.world_to_camera_view`` defines them.

    Its picture plane at distance 1 is ``Camera.view_frame``: with sensor fit AUTO the angle spans
    the longer side. It counts from the lower left corner in 0..1.
    """
    w, h = camera.size
    local = (np.linalg.inv(camera.to_world) @ np.append(points, np.ones((len(points), 1)), 1).T).T
    half = np.tan(camera.angle / 2) * np.array([w, h]) / max(w, h)
    share = (local[:, :2] / -local[:, 2:3] + half) / (2 * half)
    return np.stack([share[:, 0] * w, (1 - share[:, 1]) * h], 1)


def test_keypoints_lie_where_blender_draws_the_body() -> None:
    rng = np.random.default_rng(0)
    points = rng.uniform(-1, 1, (30, 3))
    for _ in range(20):
        camera = random_camera(rng, np.array([-0.8, -0.6, 0.0]), np.array([0.8, 0.6, 1.2]))
        stated = blender_camera(camera, np.zeros(3))
        ours = camera.project(points)
        front = ours[:, 2] > 0.05
        np.testing.assert_allclose(
            seen_by_blender(stated, points[front]), ours[front, :2], atol=1e-6
        )


def test_blender_focuses_on_the_pair() -> None:
    camera = Camera(np.array([0.0, -4.0, 1.0]), np.array([0.0, 0.0, 1.0]), 5.0, 50.0, (160, 120))
    assert blender_camera(camera, np.array([0.3, -1.0, 0.5])).focus == pytest.approx(3.0)


def test_a_scene_comes_back_as_it_was_written(tmp_path) -> None:
    camera = Camera(np.array([0.0, -4.0, 1.0]), np.zeros(3), 5.0, 50.0, (160, 120))
    corners = np.eye(3, dtype=np.float32)
    colours = (0.1, 0.2, 0.3), (1.0, 1.0, 1.0)
    part = Part("gi", 2, *colours, corners, 2 * corners, corners[0], np.array([[0, 1, 2]]))
    scene = SceneFile([part], [blender_camera(camera, np.zeros(3))], 7, (0.0, 1.0, 2.0), {"a": [1]})
    write_scene(tmp_path / "scene.npz", scene)
    back = read_scene(tmp_path / "scene.npz")
    assert (back.seed, back.centre, back.truth) == (7, (0.0, 1.0, 2.0), {"a": [1]})
    assert (back.parts[0].kind, back.parts[0].label) == ("gi", 2)
    np.testing.assert_array_equal(back.parts[0].vertices, part.vertices)
    np.testing.assert_array_equal(back.cameras[0].to_world, scene.cameras[0].to_world)
    assert back.cameras[0].size == (160, 120)


def square() -> Sheet:
    """A unit square of 2 × 8 × 8 triangles in the x–y plane."""
    x, y = np.meshgrid(np.linspace(0, 1, 9), np.linspace(0, 1, 9))
    flat = np.stack([x.ravel(), y.ravel(), 0 * x.ravel()], 1).astype(np.float32)
    i = np.arange(81).reshape(9, 9)
    a, b, c, d = i[:-1, :-1].ravel(), i[:-1, 1:].ravel(), i[1:, 1:].ravel(), i[1:, :-1].ravel()
    faces = np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)]).astype(np.int32)
    return Sheet(flat, np.tile(np.float32([0, 0, 1]), (81, 1)), flat, np.zeros((81, 4)), faces)


def area(vertices: np.ndarray, faces: np.ndarray) -> float:
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    return float(np.cross(b - a, c - a)[:, 2].sum() / 2)  # signed: a flipped triangle counts off


def test_cloth_is_cut_exactly_where_it_ends() -> None:
    sheet = square()
    x, y, _ = sheet.place.T
    cut = sheet.cut(0.8 - x - 0.5 * y)
    assert area(cut.place, cut.faces) == pytest.approx(0.8 - 0.25, abs=1e-5)
    assert (cut.place[:, 0] + 0.5 * cut.place[:, 1]).max() == pytest.approx(0.8, abs=1e-5)
    assert len(sheet.cut(np.full(81, -1.0)).faces) == 0
    assert len(sheet.cut(np.ones(81)).faces) == len(sheet.faces)


def test_finer_cloth_covers_the_same() -> None:
    s = square()
    part = Part("gi", 1, (0, 0, 0), (0, 0, 0), s.place, s.rest, s.region[:, 3], s.faces)
    finer = refined(part)
    assert len(finer.faces) == 4 * len(part.faces)
    assert area(finer.vertices, finer.faces) == pytest.approx(1.0, abs=1e-5)


def test_the_body_that_is_drawn_is_the_solved_one(people) -> None:
    from models.training.scenes.figures import build_figure
    from models.training.scenes.joints import JOINT_NAMES
    from models.training.scenes.pose import BodyPose, PosedPair

    rng = np.random.default_rng(3)
    turn, at = np.eye(3, dtype=np.float32), np.array([0, 0, 1], np.float32)
    joints = rng.normal(0, 0.3, (2, len(JOINT_NAMES))).astype(np.float32)
    beside = at + np.array([0.6, 0, 0], np.float32)
    bodies = BodyPose(0, joints[0], turn, at), BodyPose(1, joints[1], turn, beside)
    figures = [build_figure(p) for p in people[:2]]
    bones = people[0].fk(joints[0], turn, at)
    skin = posed_sheet(figures[0], figures[0].matrices(bones), "skin")
    solved = people[0].vertices(bodies[0])
    nearest = np.linalg.norm(skin.place[:, None, :] - solved[None, ::40], axis=-1).min(0)
    assert np.quantile(nearest, 0.5) < 0.002  # inner faces of mouth and nose aren't drawn
    pair = PosedPair("test", "standing", None, bodies)
    scene = describe(rng, pair, 0, people[:2], figures, 2, 256)
    assert {1, 2} <= {p.label for p in scene.parts}
    assert all(np.isfinite(p.vertices).all() for p in scene.parts)
    assert camera_of(scene.truth["cameras"][1]).size == scene.cameras[1].size
    assert np.shape(scene.truth["keypoints"]) == (2, 17, 3)
