"""What a user of the pair reader would lose: both athletes, in any framing, and clear refusals.

Truth comes with the pictures (`tests/bodies/truth.py`); similarity is COCO's.
"""

from __future__ import annotations

import csv
import re

import cv2
import numpy as np
import onnxruntime as ort
import pytest
from pycocotools.coco import COCO
from typer.testing import CliRunner

from pipeline.bodies import Region, RegionTracker, network, pair
from pipeline.bodies.crops import square_around
from pipeline.bodies.look import COCO_MIRROR
from pipeline.bodies.network import Network
from pipeline.bodies.pair import PairReader
from pipeline.cli import app
from pipeline.errors import MatlineError
from tests.bodies import truth

FOUND = 0.3
"""Similarity from which a body counts as found: right person, right way up, limbs roughly right."""


@pytest.fixture(scope="module")
def reader() -> PairReader:
    return PairReader(threads=1)


@pytest.fixture(scope="module")
def scenes() -> list[truth.Scene]:
    return truth.pictures()


def alike(reader: PairReader, scene: truth.Scene, region: Region | None = None) -> np.ndarray:
    """Similarity of both athletes' readings to the truth."""
    return truth.matched(reader.read_pair(scene.image, region or scene.region).keypoints, scene)[1]


def half_wrong(region: Region) -> Region:
    """The region moved by half its width and height."""
    w, h = region.size
    return Region(region.x0 + w / 2, region.y0 - h / 2, region.x1 + w / 2, region.y1 - h / 2)


def mirrored_picture(scene: truth.Scene) -> tuple[np.ndarray, Region]:
    width, at = scene.image.shape[1], scene.region
    image = np.ascontiguousarray(scene.image[:, ::-1])
    return image, Region(width - at.x1, at.y0, width - at.x0, at.y1)


def mirrored_points(keypoints: np.ndarray, width: int) -> np.ndarray:
    """Bodies as if the picture had been the other way round, left and right exchanged."""
    points = keypoints[:, COCO_MIRROR].copy()
    points[..., 0] = width - points[..., 0]
    return points


def test_a_region_gives_exactly_two_whole_bodies(reader, scenes):
    for scene in scenes:
        look = reader.read(scene.image, scene.region)
        assert len(look.bodies) == 2
        for body in look.bodies:
            assert body.keypoints.shape == (17, 3)
            assert np.isfinite(body.keypoints).all()
            assert body.hidden is not None
            assert 0 <= body.keypoints[:, 2].min() <= body.keypoints[:, 2].max() <= 1
        assert sum(look.positions.values()) == pytest.approx(1, abs=1e-4)


def test_both_athletes_are_found_and_their_visible_joints_are_near(reader, scenes):
    similarity = np.array([alike(reader, scene) for scene in scenes])
    assert (similarity.min(1) >= FOUND).sum() >= 9
    distances = []
    for scene in scenes:
        bodies, _ = truth.matched(reader.read_pair(scene.image, scene.region).keypoints, scene)
        side = square_around(scene.region).side
        apart = np.linalg.norm(bodies[..., :2] - scene.keypoints, axis=-1) / side
        distances.append(apart[scene.visible == 2])
    assert (np.concatenate(distances) < 0.05).mean() > 0.75


def test_both_athletes_are_found_without_saying_where_they_are(reader, scenes):
    looks = [reader.read(scene.image) for scene in scenes]
    assert all(look.region is not None for look in looks)
    found = [
        truth.matched([body.keypoints for body in look.bodies], scene)[1].min() >= FOUND
        for look, scene in zip(looks, scenes, strict=True)
    ]
    assert sum(found) >= 9


def test_who_is_on_top_is_mostly_right(reader, scenes):
    # In these pictures A is on top wherever somebody is, and nobody is in those named here.
    nobody = ("scramble", "standing")
    right = []
    for scene in scenes:
        if not scene.name.startswith(nobody):
            reading = reader.read_pair(scene.image, scene.region)
            bodies, _ = truth.matched(reading.keypoints, scene)
            first_is_a = np.allclose(bodies[0], reading.keypoints[0])
            right.append((reading.top > 0.5) == first_is_a)
    assert len(right) == 9
    assert sum(right) >= 8


def test_a_region_that_is_half_wrong_is_put_right_by_a_second_look(reader, scenes, monkeypatch):
    helped = np.mean([alike(reader, scene, half_wrong(scene.region)) for scene in scenes])
    exact = np.mean([alike(reader, scene) for scene in scenes])
    monkeypatch.setattr(pair, "_beside", lambda crop, reading: False)
    alone = np.mean([alike(reader, scene, half_wrong(scene.region)) for scene in scenes])
    assert helped > alone + 0.15
    assert helped > 0.85 * exact


def test_a_mirrored_picture_gives_mirrored_skeletons_with_left_and_right_exchanged(reader, scenes):
    similarity = []
    for scene in scenes:
        reading = reader.read_pair(*mirrored_picture(scene))
        points = mirrored_points(reading.keypoints, scene.image.shape[1])
        similarity.append(truth.matched(points, scene)[1])
    straight = np.mean([alike(reader, scene) for scene in scenes])
    assert np.mean(similarity) == pytest.approx(straight, abs=0.08)


def test_mirror_averaging_says_the_same_of_a_picture_and_its_mirror_image(scenes):
    steady = PairReader(flip=True, threads=1)
    # Without the second look: which of two readings is surer may hang on the last digit.
    for scene in scenes[:4]:
        crop = square_around(scene.region)
        image, region = mirrored_picture(scene)
        one = steady.read_crop(scene.image, crop).keypoints
        other = mirrored_points(
            steady.read_crop(image, square_around(region)).keypoints, scene.image.shape[1]
        )
        same = np.abs(one - other)[..., :2].max(-1)
        crossed = np.abs(one - other[::-1])[..., :2].max(-1)
        assert min(np.median(same), np.median(crossed)) < crop.side * 0.005


def test_nobody_in_the_picture_is_not_taken_for_a_pair(reader, scenes):
    noise = np.random.default_rng(0).integers(0, 255, (9, 16, 3), dtype=np.uint8)
    empty = [
        np.zeros((360, 640, 3), np.uint8),
        np.full((360, 640, 3), 128, np.uint8),
        cv2.resize(noise, (640, 360)),
        # A wall and a mat: the top left corner of a picture whose pair is far from it.
        cv2.resize(scenes[4].image[:60, :100], (640, 384)),
    ]
    surest_pair = min(np.mean([b.score for b in reader.read(s.image).bodies]) for s in scenes)
    for image in empty:
        look = reader.read(image)
        assert look.region is None
        assert np.mean([body.score for body in look.bodies]) < surest_pair / 2


def test_a_pair_at_the_edge_is_read_as_if_black_went_on(reader, scenes):
    for scene in scenes[:4]:
        at = scene.region
        x0, y0 = int(at.x0 + at.size[0] * 0.1), int(at.y0)
        cut_off = scene.image[y0:, x0:]
        region = Region(at.x0 - x0, at.y0 - y0, at.x1 - x0, at.y1 - y0)
        edged = cv2.copyMakeBorder(cut_off, 200, 200, 200, 200, cv2.BORDER_CONSTANT)
        moved = Region(*(v + 200 for v in (region.x0, region.y0, region.x1, region.y1)))
        close = reader.read_pair(cut_off, region).keypoints
        far = reader.read_pair(edged, moved).keypoints - np.array([200, 200, 0])
        assert np.median(np.abs(close - far)[..., :2]) < 1.0


def test_a_pair_of_120_pixels_is_read_nearly_as_well(reader, scenes):
    similarity = []
    for scene in scenes:
        k = 120 / max(scene.region.size)
        size = (round(scene.image.shape[1] * k), round(scene.image.shape[0] * k))
        small = cv2.resize(scene.image, size, interpolation=cv2.INTER_AREA)
        tiny = truth.Scene(scene.name, small, scene.keypoints * k, scene.visible)
        similarity.append(alike(reader, tiny))
    large = np.mean([alike(reader, scene) for scene in scenes])
    assert np.mean(similarity) > large - 0.1


def test_the_tracker_finds_a_pair_that_has_moved_across_the_picture(reader, scenes):
    scene = next(s for s in scenes if s.name.startswith("double_leg"))
    h, w = scene.image.shape[:2]
    wide = np.full((h, 2 * w, 3), 128, np.uint8)
    left, right = wide.copy(), wide
    left[:, :w], right[:, w:] = scene.image, scene.image
    tracker = RegionTracker()
    assert tracker.read(reader, left).region.x1 < w * 1.1
    for _ in range(3):
        look = tracker.read(reader, right)
    assert look.region is not None
    assert look.region.x0 > w * 0.9
    moved = truth.Scene(scene.name, right, scene.keypoints + np.array([w, 0]), scene.visible)
    assert truth.matched([b.keypoints for b in look.bodies], moved)[1].min() >= FOUND


def test_missing_weights_are_named_with_the_way_out(tmp_path):
    with pytest.raises(MatlineError) as caught:
        PairReader(reader=tmp_path / "pair_reader.onnx")
    said = str(caught.value)
    assert "pair_reader.onnx" in said
    assert "--backend mediapipe" in said
    assert re.fullmatch(r"[^\n]+\.", said)


def test_weights_that_are_no_network_are_refused(tmp_path):
    path = tmp_path / "pair_reader.onnx"
    path.write_bytes(b"half a file")
    with pytest.raises(MatlineError, match="can't be read"):
        Network(path)


def test_a_gpu_is_used_before_the_processor_where_there_is_one(monkeypatch):
    asked = {}
    real = ort.InferenceSession

    def session(path, options, providers):
        asked["providers"], asked["threads"] = providers, options.intra_op_num_threads
        return real(path, options, providers=["CPUExecutionProvider"])

    there = ["AzureExecutionProvider", "CPUExecutionProvider", "CUDAExecutionProvider"]
    monkeypatch.setattr(network.ort, "get_available_providers", lambda: there)
    monkeypatch.setattr(network.ort, "InferenceSession", session)
    Network(pair.weights_path(pair.READER_WEIGHTS), threads=1)
    assert asked == {
        "providers": ["CUDAExecutionProvider", "CPUExecutionProvider"],
        "threads": 1,
    }


def test_the_weights_tell_how_they_were_trained():
    for name in (pair.READER_WEIGHTS, pair.FINDER_WEIGHTS):
        path = pair.weights_path(name)
        facts = Network(path, 1).metadata["training"]
        assert facts["steps"] > 0
        assert facts["held_out"]
        assert path.with_suffix(".md").is_file()
        assert path.stat().st_size <= 25_000_000


def test_keypoints_of_given_regions_load_in_the_reference_library(tmp_path, scenes):
    # Reference: pycocotools, the COCO project's own reader.
    chosen = scenes[:3]
    regions = tmp_path / "regions.csv"
    with regions.open("w", newline="") as file:
        lines = csv.writer(file)
        lines.writerow(["file", "x0", "y0", "x1", "y1"])
        for scene in chosen:
            at = scene.region
            lines.writerow([scene.name, at.x0, at.y0, at.x1, at.y1])
    files = [str(truth.PICTURES / scene.name) for scene in chosen]
    out = tmp_path / "keypoints.json"
    done = CliRunner().invoke(
        app, ["keypoints", *files, "--pair-region", str(regions), "--to", str(out)]
    )
    assert done.exit_code == 0, done.output
    loaded = COCO(str(out))
    for image, scene in zip(loaded.loadImgs(loaded.getImgIds()), chosen, strict=True):
        people = loaded.loadAnns(loaded.getAnnIds(imgIds=[image["id"]]))
        assert len(people) == 2
        points = np.array([p["keypoints"] for p in people]).reshape(2, 17, 3)
        assert truth.matched(points, scene)[1].mean() > 0.4


def test_keypoints_of_one_region_are_those_of_the_pair_there(tmp_path, scenes):
    scene = next(s for s in scenes if s.name.startswith("double_leg"))
    at = scene.region
    out = tmp_path / "keypoints.json"
    region = f"{at.x0},{at.y0},{at.x1},{at.y1}"
    done = CliRunner().invoke(
        app,
        ["keypoints", str(truth.PICTURES / scene.name), "--pair-region", region, "--to", str(out)],
    )
    assert done.exit_code == 0, done.output
    people = COCO(str(out)).dataset["annotations"]
    points = np.array([p["keypoints"] for p in people]).reshape(-1, 17, 3)
    assert len(points) == 2
    assert truth.matched(points, scene)[1].min() > 0.6
