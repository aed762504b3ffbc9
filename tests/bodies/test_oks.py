"""Our keypoint similarity against the COCO project's own (pycocotools, COCOeval)."""

from __future__ import annotations

import json

import numpy as np
import pytest
from pycocotools.coco import COCO
from pycocotools.cocoeval import COCOeval

from pipeline.bodies.oks import SIGMAS, match, oks
from tests.bodies.truth import PICTURES, pictures


def moved_truth(rng: np.random.Generator) -> dict[int, np.ndarray]:
    """The true skeletons, moved at random by up to a third of a body; by annotation id."""
    data = json.loads((PICTURES / "truth.json").read_text())
    return {
        a["id"]: np.array(a["keypoints"], float).reshape(17, 3)
        + np.c_[rng.normal(0, 0.05 + 0.1 * rng.random(), (17, 2)) * a["area"] ** 0.5, np.zeros(17)]
        for a in data["annotations"]
    }


def test_similarities_are_those_of_the_reference(tmp_path):
    truth = COCO(str(PICTURES / "truth.json"))
    found = moved_truth(np.random.default_rng(2))
    results = [
        {"image_id": truth.anns[i]["image_id"], "category_id": 1, "score": 1 / i,
         "keypoints": points.ravel().tolist()}
        for i, points in found.items()
    ]  # fmt: skip
    judge = COCOeval(truth, truth.loadRes(results), "keypoints")
    np.testing.assert_allclose(judge.params.kpt_oks_sigmas, SIGMAS)
    judge._prepare()
    compared = 0
    for image in truth.getImgIds():
        reference = judge.computeOks(image, 1)  # found by score, in rows; truth in columns
        people = truth.loadAnns(truth.getAnnIds(imgIds=[image]))
        for row, mine in enumerate(sorted(people, key=lambda a: a["id"])):
            for column, other in enumerate(people):
                points = np.array(other["keypoints"], float).reshape(17, 3)
                similarity = oks(
                    found[mine["id"]][:, :2], points[:, :2], points[:, 2] > 0, other["area"]
                )
                assert similarity == pytest.approx(reference[row, column], abs=1e-9)
                compared += 1
    assert compared == 4 * len(pictures())


def test_a_missing_keypoint_counts_as_wrong():
    points = np.random.default_rng(0).random((17, 2)) * 100
    labelled = np.ones(17, bool)
    lost = points.copy()
    lost[3] = np.nan
    assert oks(points, points, labelled, 5000.0) == 1
    assert oks(lost, points, labelled, 5000.0) == pytest.approx(16 / 17)
    assert np.isnan(oks(points, points, np.zeros(17, bool), 5000.0))


def test_one_body_is_not_counted_for_both_athletes():
    rng = np.random.default_rng(0)
    truth = rng.random((2, 17, 2)) * 100
    labelled = np.ones((2, 17), bool)
    assert match(truth[[1]], truth, labelled) == [(-1, 0.0), (0, 1.0)]
    both = match(truth[[1, 0]], truth, labelled)
    assert [row for row, _ in both] == [1, 0]
    assert match(truth[:0], truth, labelled) == [(-1, 0.0)] * 2
