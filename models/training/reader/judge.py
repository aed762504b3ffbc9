"""The exported reader, measured as it runs, on shards of pictures it never saw."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from models.training.reader.data import keypoint_box, usable
from models.training.reader.measure import CORRECT
from models.training.scenes.shards import Shard, read_shard
from pipeline.bodies.crops import square_around
from pipeline.bodies.pair import PairReader, PairReading


@dataclass(frozen=True)
class Picture:
    """What was made of one picture; arrays of one entry for each keypoint inside it.

    Attributes
    ----------
    template : str
    position : str
        True position, ``""`` for none.
    right, visible : ndarray, bool
        Whether a keypoint was found, and whether it truly is seen.
    confidence : ndarray, float
    mixed : bool
        Whether an athlete's keypoints lie mostly on the other.
    named : bool or None
        Whether the position is the true one; None if there is none.
    top : bool or None
        Whether the right athlete is on top; None if nobody is.
    """

    template: str
    position: str
    right: np.ndarray
    visible: np.ndarray
    confidence: np.ndarray
    mixed: bool
    named: bool | None
    top: bool | None


@dataclass
class Judgement:
    """What was found, picture by picture."""

    pictures: list[Picture] = field(default_factory=list)

    @property
    def right(self) -> np.ndarray:
        """Whether each keypoint was found, bool (K,)."""
        return np.concatenate([picture.right for picture in self.pictures])

    @property
    def visible(self) -> np.ndarray:
        """Whether each keypoint is seen, bool (K,)."""
        return np.concatenate([picture.visible for picture in self.pictures])

    @property
    def confidence(self) -> np.ndarray:
        """How sure the reader was of each keypoint, (K,)."""
        return np.concatenate([picture.confidence for picture in self.pictures])

    def figures(self) -> dict[str, float]:
        """Shares that are right, of keypoints and of pictures; ``swapped``: mixed pictures."""
        right, visible = self.right, self.visible
        shares = {
            "visible": right[visible],
            "hidden": right[~visible],
            "swapped": [picture.mixed for picture in self.pictures],
            "position": [p.named for p in self.pictures if p.named is not None],
            "top": [p.top for p in self.pictures if p.top is not None],
        }
        known = {key: float(np.mean(values)) for key, values in shares.items() if len(values)}
        return {"pictures": len(self.pictures)} | {k: round(v, 4) for k, v in known.items()}


def judge(reader: PairReader, shards: Path) -> Judgement:
    """Read every usable picture around the true box and compare with the truth.

    Parameters
    ----------
    reader : PairReader
    shards : Path
        Folder of held-out shards.
    """
    found = Judgement()
    for path in sorted(shards.glob("*.npz")):
        found.pictures += judge_shard(reader, path)
    return found


def judge_shard(reader: PairReader, path: Path) -> Iterator[Picture]:
    """Judge the usable pictures of one shard."""
    shard = read_shard(path)
    for i in np.flatnonzero(usable(shard)).tolist():
        crop = square_around(keypoint_box(shard.keypoints[i], shard.visibility[i]))
        yield compare(reader.read_crop(shard.image(i), crop), shard, i, CORRECT * crop.side)


def compare(read: PairReading, shard: Shard, i: int, near: float) -> Picture:
    """Compare what was read with the truth, in the order of athletes that fits better.

    Parameters
    ----------
    read : PairReading
    shard : Shard
    i : int
        The picture's row.
    near : float
        Pixels within which a keypoint counts as found.
    """
    true, visibility = shard.keypoints[i], shard.visibility[i]
    present = visibility > 0
    keypoints, first_on_top = read.keypoints, read.top > 0.5
    straight = np.linalg.norm(keypoints[..., :2] - true, axis=-1)
    crossed = np.linalg.norm(keypoints[::-1, :, :2] - true, axis=-1)
    confidence = keypoints[..., 2]
    if crossed[present].mean() < straight[present].mean():
        straight, crossed, confidence = crossed, straight, confidence[::-1]
        first_on_top = not first_on_top
    right = straight < near
    astray = (crossed < straight) & ~right & present
    position = str(shard.position_keys[shard.position[i]]) if shard.position[i] >= 0 else ""
    likeliest = max(read.positions, key=lambda key: read.positions[key])
    return Picture(
        str(shard.templates[shard.template[i]]),
        position,
        right[present],
        (visibility == 2)[present],
        confidence[present],
        bool((astray.sum(1) > present.sum(1) / 2).any()),
        likeliest == position if position else None,
        first_on_top == bool(shard.top[i] == 0) if shard.top[i] >= 0 else None,
    )
