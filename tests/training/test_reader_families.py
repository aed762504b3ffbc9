"""Figures of a reader on families left out: what they would hide if kinds or orders got mixed."""

from __future__ import annotations

import json
from dataclasses import fields

import numpy as np
import pytest

pytest.importorskip("torch", reason="the reader is trained with PyTorch: pip install .[training]")

from models.training.reader import families
from models.training.reader.families import KNOWN, LEFT_OUT, Run, judge_runs, markdown
from models.training.reader.judge import Picture, compare
from models.training.scenes.families import left_out
from models.training.scenes.joints import JOINT_NAMES
from models.training.scenes.pairs_file import Pairs
from models.training.scenes.shards import Shard, _chosen
from models.training.scenes.templates import templates
from pipeline.bodies.pair import PairReading
from pipeline.errors import MatlineError

GONE = sorted(left_out(2))[0]
STAYS = sorted(left_out(3))[0]


def picture(template: str, right: float = 1.0) -> Picture:
    found = np.arange(20) < 20 * right
    return Picture(template, "mount", found, np.ones(20, bool), np.ones(20), False, True, None)


@pytest.fixture
def shard():
    rng = np.random.default_rng(0)
    given = {
        "keypoints": rng.uniform(0, 400, (1, 2, 17, 2)).astype(np.float32),
        "visibility": np.full((1, 2, 17), 2, np.int8),
        "position": np.array([1]),
        "position_keys": np.array(["standing", "mount"]),
        "template": np.array([0]),
        "templates": np.array([GONE]),
        "top": np.array([1]),
    }
    return Shard(**{f.name: given.get(f.name, np.zeros(1)) for f in fields(Shard)})


def read(shard: Shard, order: tuple[int, int], top: float) -> PairReading:
    keypoints = np.concatenate([shard.keypoints[0], np.full((2, 17, 1), 0.9)], axis=-1)
    said = {"standing": 0.2, "mount": 0.8}
    return PairReading(keypoints[list(order)], np.zeros((2, 17), bool), said, top, ((), ()))


@pytest.mark.parametrize(("order", "top"), [((0, 1), 0.1), ((1, 0), 0.9)])
def test_athletes_in_the_other_order_are_right_and_so_is_who_is_on_top(shard, order, top):
    found = compare(read(shard, order, top), shard, 0, 10.0)
    assert found.right.all()
    assert not found.mixed
    assert (found.named, found.top, found.template) == (True, True, GONE)
    assert compare(read(shard, order, 1 - top), shard, 0, 10.0).top is False


def test_most_of_an_athlete_read_on_the_other_counts_as_exchanged(shard):
    shard.keypoints[0, 1] = shard.keypoints[0, 0] + [300, 0]
    shard.keypoints[0, 1, :10] = shard.keypoints[0, 0, :10] + [30, 0]
    seen = read(shard, (0, 1), 0.1)
    seen.keypoints[:, :10] = seen.keypoints[::-1, :10].copy()
    found = compare(seen, shard, 0, 10.0)
    assert found.mixed
    assert found.right.mean() == pytest.approx(7 / 17)


def test_a_template_counts_as_left_out_only_for_the_run_that_left_it_out(monkeypatch, tmp_path):
    monkeypatch.setattr(
        families,
        "read_shards",
        lambda run, workers: [picture(GONE, 0.5), picture(f"{GONE} / arms", 0.5), picture(STAYS)],
    )
    judged = judge_runs([Run(tmp_path, 2, tmp_path)])
    assert (judged[LEFT_OUT]["pictures"], judged[LEFT_OUT]["visible"]) == (2, 0.5)
    assert (judged[KNOWN]["pictures"], judged[KNOWN]["visible"]) == (1, 1.0)
    both = judge_runs([Run(tmp_path, 2, tmp_path), Run(tmp_path, 4, tmp_path)])
    assert (both[LEFT_OUT]["pictures"], both[KNOWN]["pictures"]) == (2, 4)
    assert f"| {LEFT_OUT} | 2 | 50.0 % |" in markdown(judged)


def test_no_picture_shows_a_pose_of_the_families_left_out():
    names = np.array(sorted([*templates(), f"{GONE} / arms"]))
    count = len(names)
    shapes = {"joints": (len(JOINT_NAMES),), "rotation": (3, 3), "translation": (3,)}
    arrays = {name: np.zeros((count, 2, *shape)) for name, shape in shapes.items()} | {
        "templates": names,
        "positions": np.array(["mount"]),
        "template": np.arange(count),
        "person": np.zeros((count, 2), int),
        "quality": np.zeros((count, 4)),
        **{name: np.zeros(count, int) for name in ("position", "top", "mirrored")},
    }
    pairs = Pairs(arrays)
    shown = {pair.template for pair in _chosen(pairs, 2)}
    assert not {name for name in shown if name.split(" / ")[0] in left_out(2)}
    assert len(shown) == count - len(left_out(2)) - 1
    assert len(_chosen(pairs, None)) == count


def test_a_run_that_left_nothing_out_is_not_taken_for_one_that_did(tmp_path):
    (tmp_path / "plan.json").write_text(json.dumps({"seed": 1, "leave_out_fold": None}))
    with pytest.raises(MatlineError, match="no run that leaves families out"):
        Run.of(tmp_path)
    (tmp_path / "plan.json").write_text(json.dumps({"leave_out_fold": 0}))
    assert Run.of(tmp_path).fold == 0
