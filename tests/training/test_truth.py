"""Truth of a picture: what is called visible can be seen, what is hidden cannot."""

from __future__ import annotations

import numpy as np
import pytest

from models.training.scenes.camera import Camera, handheld, picture_size, random_camera
from models.training.scenes.truth import (
    HIDDEN,
    OUTSIDE,
    VISIBLE,
    instance_mask,
    seen_boxes,
    touching,
    visibility,
)

cv2 = pytest.importorskip("cv2")


@pytest.fixture
def camera() -> Camera:
    return Camera(np.array([0.0, -4.0, 1.0]), np.array([0.0, 0.0, 1.0]), 0.0, 50.0, (160, 120))


def test_projection_agrees_with_opencv() -> None:
    # Reference: OpenCV's projectPoints, pinhole model without distortion.
    rng = np.random.default_rng(0)
    points = rng.uniform(-1, 1, (40, 3))
    for _ in range(20):
        camera = random_camera(rng, np.array([-0.8, -0.6, 0.0]), np.array([0.8, 0.6, 1.2]))
        view = np.diag([1.0, -1.0, -1.0]) @ camera.view()[:3, :3]
        shift = np.diag([1.0, -1.0, -1.0]) @ camera.view()[:3, 3]
        w, h = camera.size
        focal = max(w, h) / 2 / np.tan(np.radians(camera.fov) / 2)
        lens = np.array([[focal, 0, w / 2], [0, focal, h / 2], [0, 0, 1.0]])
        expected = cv2.projectPoints(points, cv2.Rodrigues(view)[0], shift, lens, None)[0][:, 0]
        ours = camera.project(points)
        front = ours[:, 2] > 0.05
        np.testing.assert_allclose(ours[front, :2], expected[front], atol=1e-3)


def test_clip_space_and_pixels_agree() -> None:
    camera = Camera(np.array([2.0, -3.0, 1.5]), np.array([0.1, 0.2, 0.5]), 7.0, 40.0, (90, 160))
    point = np.array([0.3, -0.1, 0.4])
    clip = camera.clip() @ np.append(point, 1.0)
    x, y = clip[:2] / clip[3]
    pixel = camera.project(point)
    np.testing.assert_allclose(pixel[:2], [(x + 1) / 2 * 90, (1 - y) / 2 * 160], atol=1e-6)
    np.testing.assert_allclose(camera.metres((clip[2] / clip[3] + 1) / 2), pixel[2], rtol=1e-6)


def test_a_joint_behind_another_body_is_hidden(camera: Camera) -> None:
    keypoints = np.tile([0.0, 0.0, 1.0], (17, 1))
    labels = np.full((120, 160), 1, np.uint8)
    depth = np.full((120, 160), 3.95, np.float32)
    assert (visibility(camera, keypoints, labels, depth, 1, gi=False)[5:] == VISIBLE).all()
    in_front = np.where(labels == 1, 2, 0).astype(np.uint8)
    assert (visibility(camera, keypoints, in_front, depth, 1, gi=False) == HIDDEN).all()


def test_a_joint_behind_the_own_trunk_is_hidden(camera: Camera) -> None:
    keypoints = np.tile([0.0, 0.0, 1.0], (17, 1))
    labels = np.full((120, 160), 1, np.uint8)
    near = np.full((120, 160), 3.7, np.float32)
    assert (visibility(camera, keypoints, labels, near, 1, gi=True) == HIDDEN).all()


def test_a_joint_beside_the_picture_is_outside(camera: Camera) -> None:
    keypoints = np.tile([9.0, 0.0, 1.0], (17, 1))
    keypoints[0] = [0.0, -8.0, 1.0]  # behind the camera
    labels, depth = np.zeros((120, 160), np.uint8), np.full((120, 160), 80.0, np.float32)
    assert (visibility(camera, keypoints, labels, depth, 1, gi=False) == OUTSIDE).all()


def test_mask_joins_all_others() -> None:
    labels = np.array([[0, 0, 1, 1], [0, 0, 1, 1], [2, 2, 9, 9], [2, 2, 9, 9]], np.uint8)
    assert instance_mask(labels).tolist() == [[0, 1], [2, 3]]


def test_boxes_hold_what_is_seen_of_each_other_person() -> None:
    labels = np.zeros((60, 80), np.uint8)
    labels[10:30, 20:40], labels[40:50, 0:10], labels[0:2, 0:2] = 3, 5, 7
    assert seen_boxes(labels).tolist() == [[20, 10, 40, 30], [0, 40, 10, 50]]


def test_bodies_that_touch_are_engaged() -> None:
    a, b = np.array([[0, 0, 1, 0.1]]), np.array([[0, 0.21, 1, 0.1]])
    assert touching([a, b])
    assert not touching([a, b + np.array([0, 0.3, 0, 0])])


def test_pictures_have_the_shapes_phones_make() -> None:
    assert picture_size(448, (16, 9)) == (448, 252)
    assert picture_size(448, (3, 4)) == (336, 448)


def test_cameras_stay_above_the_mat_and_mostly_show_the_pair() -> None:
    rng = np.random.default_rng(4)
    low, high = np.array([-0.8, -0.5, 0.0]), np.array([0.8, 0.5, 0.9])
    cameras = [random_camera(rng, low, high) for _ in range(400)]
    assert min(c.eye[2] for c in cameras) >= 0.1
    middle = (low + high) / 2
    inside = [((p := c.project(middle))[:2] > 0).all() and (p[:2] < c.size).all() for c in cameras]
    assert np.mean(inside) > 0.9
    assert {c.size for c in cameras} == {(448, 252), (252, 448), (448, 336), (336, 448), (448, 448)}


def test_a_followed_pair_stays_in_a_handheld_picture() -> None:
    rng = np.random.default_rng(2)
    times = np.arange(0, 20, 0.1)
    centres = np.stack([0.25 * times, 0.1 * times, 0.5 + 0 * times], 1)
    start = Camera(np.array([0.0, -5.0, 1.6]), centres[0], 0.0, 50.0, (640, 360))
    for camera, centre in zip(handheld(rng, start, times, centres), centres, strict=True):
        x, y, depth = camera.project(centre)
        assert depth > 0
        assert 0 < x < 640
        assert 0 < y < 360
