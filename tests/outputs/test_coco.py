"""Skeletons we write load in the reference tools, and anyone's COCO file reads in."""

import contextlib
import io
import json

import numpy as np
import pytest
from pycocotools.coco import COCO

from pipeline.bodies import COCO_KEYPOINTS, Body
from pipeline.errors import MatlineError
from pipeline.outputs.coco import Picture, read_coco, write_coco


def body(seed: int) -> Body:
    points = np.random.default_rng(seed).random((17, 3)).astype(np.float32)
    points[:, :2] *= 600
    points[4] = (np.nan, np.nan, 0)
    return Body(points, 0.9, np.arange(17) == 5)


PICTURES = [
    Picture("a.jpg", 640, 480, (body(1), body(2))),
    Picture("clip.mp4#2", 640, 480, (), time_s=0.4),
]


def test_the_reference_library_finds_every_person_and_keypoint(tmp_path):
    # Reference: pycocotools, the COCO project's own reader.
    write_coco(PICTURES, tmp_path / "keypoints.json")
    with contextlib.redirect_stdout(io.StringIO()):
        loaded = COCO(str(tmp_path / "keypoints.json"))
    people = loaded.loadAnns(loaded.getAnnIds(imgIds=[1]))
    assert len(people) == 2
    assert loaded.loadCats([1])[0]["keypoints"] == list(COCO_KEYPOINTS)
    flags = people[0]["keypoints"][2::3]
    assert (flags[4], flags[5], flags[6]) == (0, 1, 2)
    assert people[0]["num_keypoints"] == 16
    x0, y0, width, height = people[0]["bbox"]
    xy = body(1).keypoints[:, :2]
    np.testing.assert_allclose([x0, y0], np.nanmin(xy, axis=0), atol=0.01)
    np.testing.assert_allclose([width, height], np.nanmax(xy, 0) - np.nanmin(xy, 0), atol=0.02)


def test_what_was_written_reads_back(tmp_path):
    write_coco(PICTURES, tmp_path / "keypoints.json")
    read = read_coco(tmp_path / "keypoints.json")
    assert [(p.name, p.width, p.time_s) for p in read] == [
        ("a.jpg", 640, None), ("clip.mp4#2", 640, 0.4),
    ]  # fmt: skip
    for was, now in zip(PICTURES[0].bodies, read[0].bodies, strict=True):
        np.testing.assert_allclose(now.keypoints, was.keypoints, atol=0.01)


def test_a_list_of_results_of_any_pose_model_reads_in(tmp_path):
    results = [
        {"image_id": i, "category_id": 1, "keypoints": [float(i), 2.0, 0.5] * 17, "score": 0.7}
        for i in (3, 1)
    ]
    path = tmp_path / "results.json"
    path.write_text(json.dumps(results))
    read = read_coco(path)
    assert [p.bodies[0].keypoints[0].tolist() for p in read] == [[1, 2, 0.5], [3, 2, 0.5]]


@pytest.mark.parametrize(
    ("content", "complaint"),
    [
        ("nonsense", "isn't JSON"),
        ("{}", "neither annotations nor"),
        ('[{"keypoints": []}]', "annotation 1 has no image_id"),
        ('[{"image_id": 1, "keypoints": [1, 2]}]', "must be 51 numbers"),
        ('[{"image_id": 1, "keypoints": "x"}]', "must be 51 numbers"),
    ],
)
def test_what_is_no_coco_file_is_refused_in_a_sentence(tmp_path, content, complaint):
    path = tmp_path / "x.json"
    path.write_text(content)
    with pytest.raises(MatlineError, match=complaint):
        read_coco(path)
