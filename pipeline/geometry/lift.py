"""From two flat skeletons through time to the pair in space, and what it looks like.

A small network, trained on made-up pairs seen through every kind of camera, tells both skeletons in
space at once: in trunk lengths, the mat as the floor. It looks at 1.8 s on either side. Beside
that it says which joint state each sample looks like; `pipeline.positions` weighs that.
"""

from __future__ import annotations

from functools import cache
from importlib import resources
from pathlib import Path
from typing import NamedTuple

import numpy as np
import onnxruntime

GRID_S = 0.2
"""Seconds between the samples that the network sees, as in training."""
NEAR_S = 0.15
"""A moment on that grid is unseen if no sample is nearer than this."""
REACH = 16
"""Samples on either side that can change what is said of one."""
BLOCK = 3000
"""Samples told at once, 10 minutes: memory stays flat in the length of the footage."""


class Lifted(NamedTuple):
    """A pair in space.

    Attributes
    ----------
    space : ndarray, float32, (T, 2, 17, 3)
        COCO keypoints in trunk lengths (the geometric mean of both): right and away as the camera
        looks, from the middle of both trunks; height over the mat. NaN where an athlete is not
        seen at all.
    states : ndarray, float32, (T, K)
        How likely each of `pipeline.positions.states.STATES` is, by the looks of this time alone.
    """

    space: np.ndarray
    states: np.ndarray


def lift(times: np.ndarray, keypoints: np.ndarray) -> Lifted:
    """Tell two skeletons in space.

    Parameters
    ----------
    times : ndarray, (T,)
        Seconds, rising.
    keypoints : ndarray, (T, 2, 17, 3)
        x, y in pixels (y down) and confidence 0–1; NaN = not seen.

    Returns
    -------
    Lifted
        At the same times. What is returned for exchanged athletes is exchanged.
    """
    network = _network()
    if not len(times):
        exchange = _exchange(network)
        return Lifted(np.zeros((0, 2, 17, 3), np.float32), np.zeros((0, len(exchange)), np.float32))
    grid = times[0] + GRID_S * np.arange(int(np.ceil((times[-1] - times[0]) / GRID_S)) + 1)
    points, confidence = _on_grid(times, keypoints, grid)
    parts = [
        _told(network, points[first:last], confidence[first:last], start)
        for first, last, start in _blocks(len(grid))
    ]
    space, states = (np.concatenate(part) for part in zip(*parts, strict=True))
    told = Lifted(_at(times, grid, space), _at(times, grid, states))
    unseen = ~(np.isfinite(keypoints[..., 0]) & (keypoints[..., 2] > 0)).any(axis=2)
    told.space[unseen] = np.nan
    return told


def _on_grid(
    times: np.ndarray, keypoints: np.ndarray, grid: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Take the nearest sample for each moment: points without NaN, and confidence, 0 if unseen."""
    after = np.clip(np.searchsorted(times, grid), 0, len(times) - 1)
    before = np.maximum(after - 1, 0)
    nearest = np.where(np.abs(times[before] - grid) <= np.abs(times[after] - grid), before, after)
    chosen = keypoints[nearest].astype(np.float32)
    confidence = np.where(np.isfinite(chosen).all(-1), chosen[..., 2], 0)
    confidence[np.abs(times[nearest] - grid) > NEAR_S] = 0
    points = np.where(confidence[..., None] > 0, chosen[..., :2], 0)
    return points, confidence.astype(np.float32)


def _blocks(count: int) -> list[tuple[int, int, tuple[int, int]]]:
    """Cut `count` samples into blocks with what lies around: first, last, kept part."""
    blocks = []
    for first in range(0, count, BLOCK):
        last = min(first + BLOCK, count)
        low, high = max(first - REACH, 0), min(last + REACH, count)
        blocks.append((low, high, (first - low, last - low)))
    return blocks


def _told(
    network: onnxruntime.InferenceSession,
    points: np.ndarray,
    confidence: np.ndarray,
    kept: tuple[int, int],
) -> tuple[np.ndarray, np.ndarray]:
    """Mean over both naming orders: exchanged athletes exchange the answer, and nothing else."""
    both = {
        "points": np.stack([points, points[:, ::-1]]),
        "confidence": np.stack([confidence, confidence[:, ::-1]]),
    }
    states, space = network.run(["states", "space"], both)
    part = slice(*kept)
    mean = (states[0, part] + states[1, part][:, _exchange(network)]) / 2
    return (space[0, part] + space[1, part, ::-1]) / 2, mean


def _at(times: np.ndarray, grid: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Interpolate between grid moments at given times."""
    place = np.clip((times - grid[0]) / GRID_S, 0, len(grid) - 1)
    low = np.minimum(place.astype(int), max(len(grid) - 2, 0))
    high = np.minimum(low + 1, len(grid) - 1)
    share = (place - low).astype(np.float32).reshape(-1, *[1] * (values.ndim - 1))
    return (1 - share) * values[low] + share * values[high]


def shipped_lift() -> Path:
    """Return where the network's weights are."""
    return Path(str(resources.files("models") / "pair_lift.onnx"))


def _exchange(network: onnxruntime.InferenceSession) -> list[int]:
    """For each state, which one it is after A and B change names; written in the file."""
    return [int(i) for i in network.get_modelmeta().custom_metadata_map["exchange"].split(",")]


@cache
def _network() -> onnxruntime.InferenceSession:
    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = 1
    return onnxruntime.InferenceSession(shipped_lift(), options, providers=["CPUExecutionProvider"])
