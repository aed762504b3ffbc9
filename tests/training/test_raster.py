"""The renderer shows what is there: checked against ray casting by another library."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from models.training.scenes.camera import Camera
from models.training.scenes.clothing import NO_TROUSERS, Look, LookSlot
from models.training.scenes.raster import Lens
from models.training.scenes.truth import VISIBLE


def bare(look: Look) -> Look:
    """The same person in close-fitting clothes and without hair, so that skin is the surface."""
    slots = look.slots.copy()
    slots[LookSlot.BOTTOM_CUT, 0] = NO_TROUSERS
    return replace(look, slots=slots, hair_length=0.0, tail=0.0, bun=False)


def scene_of(studio, standing_pair, gap: float = 1.2):
    """Two bare standing people alone on a mat, and their meshes."""
    from models.training.scenes.clothing import nogi_look

    pair = standing_pair(gap)
    rng = np.random.default_rng(0)
    looks = tuple(bare(nogi_look(rng, False, 1)) for _ in range(2))
    scene = studio.scene(rng, pair, None, (looks[0], looks[1]))
    return replace(scene, actors=scene.actors[:2])


@pytest.fixture(scope="module")
def shot(studio, standing_pair):
    """Scene, camera and what was rendered of it."""
    scene = scene_of(studio, standing_pair)
    camera = Camera(np.array([3.0, -1.2, 1.3]), np.array([0.0, 0.0, 0.9]), 5.0, 45.0, (240, 180))
    picture = studio.photograph(scene, [(camera, Lens())])[0]
    return scene, camera, picture


def test_who_is_seen_where_agrees_with_ray_casting(shot, studio) -> None:
    # Reference: trimesh's ray casting on the skin that `Person.skin` poses in NumPy.
    trimesh = pytest.importorskip("trimesh")
    scene, camera, picture = shot
    people = studio.people
    skins = [people[b.person].vertices(b) for b in scene.pair.bodies]
    faces = people[0].topology.skin_faces
    meshes = [trimesh.Trimesh(skin, faces, process=False) for skin in skins]
    rng = np.random.default_rng(1)
    mask = picture.mask
    y, x = np.nonzero(mask >= 0)
    chosen = rng.choice(len(x), 120, replace=False)
    focal = max(camera.size) / 2 / np.tan(np.radians(camera.fov) / 2)
    pixel = np.stack([2 * x[chosen] + 1.5, 2 * y[chosen] + 1.5], 1) - np.array(camera.size) / 2
    local = np.column_stack([pixel / focal * [1, -1], -np.ones(len(chosen))])
    rays = local @ camera.view()[:3, :3]
    nearest = np.full((2, len(chosen)), np.inf)
    for k, mesh in enumerate(meshes):
        hits, ray, _ = mesh.ray.intersects_location(np.tile(camera.eye, (len(rays), 1)), rays)
        np.minimum.at(nearest[k], ray, np.linalg.norm(hits - camera.eye, axis=1))
    expected = np.where(np.isinf(nearest).all(0), 0, nearest.argmin(0) + 1)
    assert np.mean(expected == mask[y[chosen], x[chosen]]) > 0.97
    assert {1, 2} <= set(expected)


def test_keypoints_lie_on_their_person(shot) -> None:
    _, _, picture = shot
    for athlete in range(2):
        seen = picture.keypoints[athlete][picture.visible[athlete] == VISIBLE]
        assert len(seen) >= 8
        x, y = (seen / 2).astype(int).T
        assert np.mean(picture.mask[y, x] == athlete + 1) > 0.85


def test_a_face_is_seen_from_the_front_and_not_from_behind(studio, standing_pair) -> None:
    scene = scene_of(studio, standing_pair, gap=3.0)
    face = scene.keypoints[0, :3].mean(0)  # A looks towards +y
    pictures = studio.photograph(
        scene,
        [
            (Camera(face + np.array([0.3, side * 1.2, 0.05]), face, 0.0, 40.0, (160, 160)), Lens())
            for side in (1, -1)
        ],
    )
    assert (pictures[0].visible[0, :3] == VISIBLE).all()
    assert (pictures[1].visible[0, :3] != VISIBLE).all()


def test_the_one_behind_is_hidden_by_the_one_in_front(studio, standing_pair) -> None:
    scene = scene_of(studio, standing_pair, gap=0.7)
    middle = scene.keypoints.mean((0, 1))
    camera = Camera(middle + np.array([0.0, -3.0, 0.0]), middle, 0.0, 45.0, (200, 200))
    picture = studio.photograph(scene, [(camera, Lens())])[0]
    trunk = [5, 6, 11, 12]
    assert (picture.visible[0, trunk] == VISIBLE).all()
    assert (picture.visible[1, trunk] != VISIBLE).sum() >= 3


def test_the_same_scene_gives_the_same_picture(shot, studio) -> None:
    scene, camera, picture = shot
    again = studio.photograph(scene, [(camera, Lens())])[0]
    assert np.array_equal(again.rgb, picture.rgb)
    assert np.array_equal(again.mask, picture.mask)


def test_a_moved_pair_keeps_its_surroundings(shot, studio, standing_pair) -> None:
    scene, camera, picture = shot
    moved = studio.move(scene, standing_pair(2.0))
    later = studio.photograph(moved, [(camera, Lens())])[0]
    assert not np.array_equal(later.mask, picture.mask)
    away = (picture.mask == 0) & (later.mask == 0)
    same = np.abs(later.rgb[1::2, 1::2].astype(int) - picture.rgb[1::2, 1::2])[away].max(-1)
    assert np.median(same) <= 2  # shadows move, walls do not


def test_points_in_the_cameras_frame_project_to_the_keypoints(shot) -> None:
    _, camera, picture = shot
    focal = max(camera.size) / 2 / np.tan(np.radians(camera.fov) / 2)
    pixels = picture.points[..., :2] / picture.points[..., 2:] * focal + np.array(camera.size) / 2
    np.testing.assert_allclose(pixels, picture.keypoints, atol=1e-2)
