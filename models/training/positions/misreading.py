"""Measures how the pair reader errs, for `models.training.scenes.misread`."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd

from models.training.reader.data import keypoint_box, usable
from models.training.scenes.misread import LEFT_RIGHT, PARTS, WRONG
from models.training.scenes.shards import read_shard
from pipeline.bodies.crops import square_around
from pipeline.bodies.pair import PairReader


def measure(reader: PairReader, shards: Path) -> pd.DataFrame:
    """Read every usable picture around the true box; a row for each part, seen and hidden.

    Returns
    -------
    DataFrame
        Columns as `models.training.scenes.misread.Measured`, and ``count``.
    """
    keypoints = pd.concat(_errors(reader, shards), ignore_index=True)
    rows = [
        {"part": part, "hidden": hidden, **_described(found)}
        for hidden in (0, 1)
        for part in PARTS
        if len(found := keypoints[keypoints["part"].eq(part) & keypoints["hidden"].eq(hidden)])
    ]
    return pd.DataFrame(rows).round(4)


def _errors(reader: PairReader, shards: Path) -> Iterator[pd.DataFrame]:
    """A row for every keypoint in the picture; distances in shares of the crop side."""
    part = np.empty(17, object)
    for name, rows in PARTS.items():
        part[list(rows)] = name
    for path in sorted(shards.glob("*.npz")):
        shard = read_shard(path)
        for i in np.flatnonzero(usable(shard)).tolist():
            true, visibility = shard.keypoints[i], shard.visibility[i]
            crop = square_around(keypoint_box(true, visibility))
            read = reader.read_crop(shard.image(i), crop).keypoints
            present = visibility > 0
            apart = [
                np.linalg.norm(read[order, :, :2] - true, axis=-1)[present].mean()
                for order in ([0, 1], [1, 0])
            ]
            read = read[::-1] if apart[1] < apart[0] else read
            away = (read[..., :2] - true) / crop.side
            to_other = np.linalg.norm(read[..., :2] - true[::-1], axis=-1) / crop.side
            to_side = np.linalg.norm(read[..., :2] - true[:, LEFT_RIGHT], axis=-1) / crop.side
            yield pd.DataFrame(
                {
                    "part": np.tile(part, 2)[present.ravel()],
                    "hidden": (visibility == 1)[present].astype(int),
                    "x": away[..., 0][present],
                    "y": away[..., 1][present],
                    "to_other": to_other[present],
                    "to_side": to_side[present],
                    "confidence": read[..., 2][present],
                }
            )


def _described(found: pd.DataFrame) -> dict[str, float]:
    distance = np.hypot(found["x"], found["y"])
    wrong = distance >= WRONG
    other = wrong & (found["to_other"] < WRONG)
    sides = wrong & ~other & (found["to_side"] < WRONG)
    elsewhere = wrong & ~other & ~sides
    surer = found["confidence"]
    return {
        "count": len(found),
        "wrong": wrong.mean(),
        "other": other.sum() / wrong.sum(),
        "sides": sides.sum() / wrong.sum(),
        "near_sd": found.loc[~wrong, ["x", "y"]].to_numpy().std(),
        "far_mean": (distance[elsewhere] - WRONG).mean(),
        "right_mean": surer[~wrong].mean(),
        "right_sd": surer[~wrong].std(),
        "wrong_mean": surer[wrong].mean(),
        "wrong_sd": surer[wrong].std(),
    }
