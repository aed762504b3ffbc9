"""The exported reader, measured as it runs, on shards of pictures it never saw."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from models.training.reader.data import keypoint_box, usable
from models.training.reader.measure import CORRECT
from models.training.scenes.shards import read_shard
from pipeline.bodies.crops import square_around
from pipeline.bodies.pair import PairReader


@dataclass
class Judgement:
    """What was found, keypoint by keypoint; arrays of one entry a keypoint in the picture.

    Attributes
    ----------
    right : list of ndarray, bool
    visible : list of ndarray, bool
        The truth.
    confidence : list of ndarray, float
    mixed : list of bool
        Pictures with an athlete whose keypoints lie mostly on the other.
    """

    right: list[np.ndarray] = field(default_factory=list)
    visible: list[np.ndarray] = field(default_factory=list)
    confidence: list[np.ndarray] = field(default_factory=list)
    mixed: list[bool] = field(default_factory=list)

    def figures(self) -> dict[str, float]:
        """Shares of visible and hidden keypoints that are right, of mixed pictures, and N."""
        right, visible = np.concatenate(self.right), np.concatenate(self.visible)
        return {
            "pictures": len(self.mixed),
            "visible": round(float(right[visible].mean()), 4),
            "hidden": round(float(right[~visible].mean()), 4),
            "swapped": round(float(np.mean(self.mixed)), 4),
        }


def judge(reader: PairReader, shards: Path) -> Judgement:
    """Read every usable picture around the true box and compare with the truth.

    Parameters
    ----------
    reader : PairReader
    shards : Path
        Folder of held-out shards.
    """
    found = Judgement()
    for image, keypoints, visibility in _pictures(shards):
        crop = square_around(keypoint_box(keypoints, visibility))
        read = reader.read_crop(image, crop).keypoints
        present = visibility > 0
        straight = np.linalg.norm(read[..., :2] - keypoints, axis=-1)
        crossed = np.linalg.norm(read[::-1, :, :2] - keypoints, axis=-1)
        confidence = read[..., 2]
        if crossed[present].mean() < straight[present].mean():
            straight, crossed, confidence = crossed, straight, confidence[::-1]
        right = straight < CORRECT * crop.side
        astray = (crossed < straight) & ~right & present
        found.right.append(right[present])
        found.visible.append((visibility == 2)[present])
        found.confidence.append(confidence[present])
        found.mixed.append(bool((astray.sum(1) > present.sum(1) / 2).any()))
    return found


def _pictures(folder: Path) -> Iterator[tuple[np.ndarray, np.ndarray, np.ndarray]]:
    for path in sorted(folder.glob("*.npz")):
        shard = read_shard(path)
        for i in np.flatnonzero(usable(shard)).tolist():
            yield shard.image(i), shard.keypoints[i], shard.visibility[i]
