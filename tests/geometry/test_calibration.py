"""The mat calibration against OpenCV's projectPoints and solvePnP on known geometry."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from pipeline.errors import MatlineError
from pipeline.geometry import MatCalibration, features
from tests.geometry.stick import figure, pair

SIZE = (8.0, 10.0)
PICTURE = (1280, 720)
MAT = np.array([[0, 0, 0], [8, 0, 0], [8, 10, 0], [0, 10, 0]], dtype=np.float64)


class Camera:
    """A camera placed by hand; projects with OpenCV."""

    def __init__(self, place, target, focal=1000.0, roll=0.0):
        place, target = np.asarray(place, float), np.asarray(target, float)
        forward = (target - place) / np.linalg.norm(target - place)
        right = np.cross(forward, [0, 0, 1.0])
        right /= np.linalg.norm(right)
        down = np.cross(forward, right)
        turn = cv2.Rodrigues(np.array([0, 0, np.radians(roll)]))[0]
        self.rotation = turn @ np.stack([right, down, forward])
        self.translation = -self.rotation @ place
        self.focal = focal
        self.matrix = np.array([[focal, 0, 640], [0, focal, 360], [0, 0, 1.0]])
        self.tilt = np.degrees(np.arcsin(-forward[2]))

    def picture(self, points):
        rvec = cv2.Rodrigues(self.rotation)[0]
        out = cv2.projectPoints(
            np.asarray(points, float), rvec, self.translation, self.matrix, None
        )[0]
        return out[:, 0]


CAMERAS = [
    Camera((4, -6, 2.5), (4, 5, 0.5)),
    Camera((-5, -4, 1.6), (4, 5, 0.0), focal=850),
    Camera((12, -3, 4.0), (3.5, 5, 0.2), focal=1300, roll=4),
]


@pytest.mark.parametrize("camera", CAMERAS)
def test_focal_length_tilt_and_place_of_the_camera_are_recovered(camera):
    mat = MatCalibration.from_corners(camera.picture(MAT), SIZE, PICTURE)
    assert mat.focal_px == pytest.approx(camera.focal, rel=1e-4)
    assert mat.tilt_degrees == pytest.approx(camera.tilt, abs=0.01)
    np.testing.assert_allclose(mat.camera_m, -camera.rotation.T @ camera.translation, atol=1e-3)


@pytest.mark.parametrize("camera", CAMERAS)
def test_pose_agrees_with_solvepnp(camera):
    corners = camera.picture(MAT)
    mat = MatCalibration.from_corners(corners, SIZE, PICTURE)
    _, rvec, tvec = cv2.solvePnP(MAT, corners, camera.matrix, None, flags=cv2.SOLVEPNP_IPPE)
    np.testing.assert_allclose(mat.rotation, cv2.Rodrigues(rvec)[0], atol=1e-4)
    np.testing.assert_allclose(mat.translation, tvec[:, 0], atol=1e-3)


@pytest.mark.parametrize("camera", CAMERAS)
def test_points_on_and_over_the_mat_come_back_in_metres(camera):
    mat = MatCalibration.from_corners(camera.picture(MAT), SIZE, PICTURE)
    ground = np.array([[1.0, 2, 0], [6.5, 8, 0], [4, 5, 0]])
    above = ground + np.array([0, 0, 0.9])
    feet, heads = camera.picture(ground), camera.picture(above)
    np.testing.assert_allclose(mat.to_mat(feet), ground[:, :2], atol=1e-3)
    np.testing.assert_allclose(mat.height_over(heads, feet), 0.9, atol=1e-3)
    np.testing.assert_allclose(mat.to_picture(above), heads, atol=0.1)
    up = camera.picture(ground + np.array([0, 0, 0.5])) - feet
    up /= np.linalg.norm(up, axis=1, keepdims=True)
    np.testing.assert_allclose(mat.vertical_at(feet), up, atol=1e-4)


def test_corners_marked_the_other_way_round_still_put_the_camera_above_the_mat():
    camera = CAMERAS[1]
    corners = camera.picture(MAT)[[1, 0, 3, 2]]
    mat = MatCalibration.from_corners(corners, SIZE, PICTURE)
    assert mat.camera_m[2] == pytest.approx(1.6, abs=1e-3)
    assert mat.tilt_degrees == pytest.approx(camera.tilt, abs=0.01)
    foot, head = camera.picture([[4, 5, 0]]), camera.picture([[4, 5, 1.2]])
    np.testing.assert_allclose(mat.height_over(head, foot), 1.2, atol=1e-3)


def test_a_corner_marked_three_pixels_off_moves_the_middle_by_centimetres():
    camera = CAMERAS[0]
    corners = camera.picture(MAT) + np.array([[3, 0], [0, -3], [-3, 0], [0, 3]])
    mat = MatCalibration.from_corners(corners, SIZE, PICTURE)
    error = mat.to_mat(camera.picture([[4, 5, 0]])) - [4, 5]
    assert np.linalg.norm(error) < 0.15


def test_a_mat_seen_square_on_uses_a_usual_focal_length_and_says_so():
    corners = np.array([[240.0, 160], [1040, 160], [1040, 560], [240, 560]])
    mat = MatCalibration.from_corners(corners, (8, 4), PICTURE)
    assert not mat.focal_estimated
    np.testing.assert_allclose(mat.to_mat(np.array([640.0, 360])), [4, 2], atol=1e-6)


def test_features_of_a_leaning_camera_are_set_upright():
    camera = CAMERAS[2]
    mat = MatCalibration.from_corners(camera.picture(MAT), SIZE, PICTURE)
    lines = np.array([[4, 5, h] for h in (0, 0.9, 1.45)])
    foot, hip, shoulder = camera.picture(lines)
    person = figure()
    person[:, :2] = shoulder
    person[[11, 12], :2] = hip
    person[13:, :2] = foot
    table = features(*pair(person, person), mat)
    assert table["a_trunk_angle"].iloc[0] == pytest.approx(0, abs=0.5)
    assert table["a_hip_height_m"].iloc[0] == pytest.approx(0.9, abs=0.01)
    assert table["pair_mat_x_m"].iloc[0] == pytest.approx(4, abs=0.1)
    leaning = features(*pair(person, person))["a_trunk_angle"].iloc[0]
    assert leaning > 2


@pytest.mark.parametrize(
    ("corners", "size"),
    [
        ([[0, 0], [1, 0], [2, 0], [0, 5]], SIZE),
        ([[0, 0], [9, 9], [9, 0], [0, 9]], SIZE),
        ([[0, 0], [9, 0], [9, 9]], SIZE),
        ([[0, 0], [9, 0], [9, 9], [0, 9]], (0, 8)),
        ([[0, 0], [9, 0], [np.nan, 9], [0, 9]], SIZE),
    ],
)
def test_impossible_corners_are_refused_in_one_sentence(corners, size):
    with pytest.raises(MatlineError, match="Mat calibration"):
        MatCalibration.from_corners(corners, size, PICTURE)
