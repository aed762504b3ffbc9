"""Shards: what a trainer reads back is what was rendered."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

pytest.importorskip("torch", reason="shards are made of solved pairs: pip install .[training]")

from models.training.scenes.shards import ShardWriter, read_shard, worth_keeping
from pipeline.errors import MatlineError


@pytest.fixture(scope="module")
def pictures(draw):
    """Four small pictures with their JPEG quality."""
    return draw(4)


def test_a_shard_reads_back_what_was_written(tmp_path: Path, pictures) -> None:
    with ShardWriter(tmp_path, ["other", "standing test"], size=3) as writer:
        for picture, _ in pictures:
            writer.append(picture, 95)
    assert [p.name for p in writer.written] == ["pictures_00000.npz", "pictures_00001.npz"]
    shard = read_shard(writer.written[0])
    assert len(shard) == 3
    for i, (picture, _) in enumerate(pictures[:3]):
        assert np.array_equal(shard.mask(i), picture.mask)
        assert np.array_equal(shard.keypoints[i], picture.keypoints)
        assert np.array_equal(shard.visibility[i], picture.visible)
        assert np.array_equal(shard.others(i), picture.others[:12])
        assert shard.image(i).shape == picture.rgb.shape
        assert np.abs(shard.image(i).astype(int) - picture.rgb).mean() < 12
        assert shard.templates[shard.template[i]] == "standing test"
        assert shard.position_keys[shard.position[i]] == "standing"
        assert shard.top[i] == -1


def test_mask_is_half_the_pictures_size(pictures) -> None:
    for picture, _ in pictures:
        h, w, _ = picture.rgb.shape
        assert picture.mask.shape == (h // 2, w // 2)
        assert max(h, w) == 128


def test_a_seed_draws_the_same_scenes_again(pictures, draw) -> None:
    for (picture, quality), (other, other_quality) in zip(pictures, draw(4), strict=True):
        assert quality == other_quality
        assert np.array_equal(picture.keypoints, other.keypoints)
        assert picture.looks[0].description == other.looks[0].description


def test_workers_share_a_folder_without_overwriting(tmp_path: Path, pictures) -> None:
    for worker in range(2):
        with ShardWriter(tmp_path, ["standing test"], size=2, first=worker, step=2) as writer:
            for picture, _ in pictures:
                writer.append(picture, 60)
    assert len(list(tmp_path.glob("*.npz"))) == 4


def test_an_interrupted_shard_leaves_no_half_file(tmp_path: Path, pictures, monkeypatch) -> None:
    def fail(*_: object, **__: object) -> None:
        raise OSError("disk full")

    monkeypatch.setattr("models.training.scenes.arrays_file.np.savez", fail)
    with pytest.raises(OSError, match="disk full"):  # noqa: SIM117
        with ShardWriter(tmp_path, ["standing test"], size=1) as writer:
            writer.append(pictures[0][0], 60)
    assert not list(tmp_path.iterdir())


def test_a_picture_without_one_athlete_is_left_out(pictures) -> None:
    picture = pictures[0][0]
    assert worth_keeping(picture)
    assert not worth_keeping(replace(picture, mask=np.minimum(picture.mask, 1)))


def test_a_damaged_shard_says_so(tmp_path: Path) -> None:
    path = tmp_path / "bad.npz"
    path.write_bytes(b"not a shard")
    with pytest.raises(MatlineError, match="render it again"):
        read_shard(path)
