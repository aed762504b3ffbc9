"""From two flat skeletons through time to the pair in space, and what it looks like.

A small network, trained on made-up pairs seen through every kind of camera, tells both skeletons in
space at once: in trunk lengths, the mat as the floor. It looks at 1.8 s on either side. Beside
that it says which joint state each sample looks like; `pipeline.positions` weighs that.
"""

from __future__ import annotations

import json
from functools import cache
from importlib import resources
from pathlib import Path
from typing import NamedTuple

import numpy as np
import onnxruntime

from pipeline.bodies.look import COCO_MIRROR
from pipeline.timeline import coarse
from pipeline.timeline.states import EXCHANGED, STATES, top_of

LEAST = 1e-3
"""Of a probability in the feature table: what is told to be less likely says no more."""
GRID_S = 0.2
"""Seconds between the samples that the lift, and the position model after it, see."""
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
        How likely each of `pipeline.timeline.states.STATES` is, by looks of this time alone;
        0 for those that the network does not know.
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
        At the same times; NaN where there is no network (`use`). What is returned for exchanged
        athletes is exchanged.
    """
    if not len(times) or _network() is None:
        shapes = (len(times), 2, 17, 3), (len(times), len(STATES))
        space, states = (np.full(shape, np.nan, np.float32) for shape in shapes)
        return Lifted(space, states)
    # At whole steps from zero, so that footage told in blocks is told as if in one.
    first, last = int(np.floor(times[0] / GRID_S)), int(np.ceil(times[-1] / GRID_S))
    grid = GRID_S * np.arange(first, max(last, first) + 1)
    points, confidence = _on_grid(times, keypoints, grid)
    parts = [
        _told(points[first:last], confidence[first:last], kept)
        for first, last, kept in _blocks(len(grid))
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
    chosen = np.asarray(keypoints[nearest], np.float64)
    confidence = np.where(np.isfinite(chosen).all(-1), chosen[..., 2], 0)
    confidence[np.abs(times[nearest] - grid) > NEAR_S] = 0
    seen = (confidence > 0)[..., None]
    points = np.where(seen, chosen[..., :2], 0)
    # Around their middle: single precision is finer there than far from the origin.
    middle = points.sum((1, 2)) / np.maximum(seen.sum((1, 2)), 1)
    points = np.where(seen, points - middle[:, None, None], 0)
    return points.astype(np.float32), confidence.astype(np.float32)


def _blocks(count: int) -> list[tuple[int, int, tuple[int, int]]]:
    """Cut `count` samples into blocks with what lies around: first, last, kept part."""
    blocks = []
    for first in range(0, count, BLOCK):
        last = min(first + BLOCK, count)
        low, high = max(first - REACH, 0), min(last + REACH, count)
        blocks.append((low, high, (first - low, last - low)))
    return blocks


def _told(
    points: np.ndarray, confidence: np.ndarray, kept: tuple[int, int]
) -> tuple[np.ndarray, np.ndarray]:
    """Mean over both naming orders and the mirrored picture; in no order, so that it is exact.

    Exchanged athletes then exchange the answer, a mirrored picture mirrors it, and nothing else.
    """
    seen_so = ((points, confidence), (mirrored(points), confidence[..., COCO_MIRROR]))
    ways = {
        "points": np.stack([p[:, ::step] for p, _ in seen_so for step in (1, -1)]),
        "confidence": np.stack([c[:, ::step] for _, c in seen_so for step in (1, -1)]),
    }
    opened = _network()
    assert opened is not None
    network, known = opened
    said, space = network.run(["states", "space"], ways)
    states = np.zeros((*said.shape[:2], len(STATES)), np.float32)
    states[..., [STATES.index(state) for state in known]] = said
    part = slice(*kept)
    states, space = states[:, part], space[:, part]
    likely = (states[0] + states[1][:, list(EXCHANGED)]) + (
        states[2] + states[3][:, list(EXCHANGED)]
    )
    back = mirrored(space)
    where = (space[0] + space[1, :, ::-1]) + (back[2] + back[3, :, ::-1])
    return where / 4, likely / 4


def mirrored(points: np.ndarray) -> np.ndarray:
    """Return points (..., 17, 2 or 3) as a mirror shows them."""
    turned = points[..., COCO_MIRROR, :].copy()
    turned[..., 0] *= -1
    return turned


def _at(times: np.ndarray, grid: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Interpolate between grid moments at given times."""
    place = np.clip((times - grid[0]) / GRID_S, 0, len(grid) - 1)
    low = np.minimum(place.astype(int), max(len(grid) - 2, 0))
    high = np.minimum(low + 1, len(grid) - 1)
    share = (place - low).astype(np.float32).reshape(-1, *[1] * (values.ndim - 1))
    return (1 - share) * values[low] + share * values[high]


def _looks_column(state: str) -> str:
    """``"mount/B"`` → ``"b_looks_mount"``, ``"standing"`` → ``"pair_looks_standing"``."""
    return f"{(top_of(state) or 'pair').lower()}_looks_{coarse(state)}"


LOOKS_NAMES: tuple[str, ...] = tuple(_looks_column(state) for state in STATES)
"""Columns of the feature table: log10 of the probability of each joint state, by its looks."""


def looks(states: np.ndarray) -> np.ndarray:
    """Return what the columns `LOOKS_NAMES` hold for probabilities (T, K)."""
    return np.log10(np.maximum(states, LEAST))


def shipped_lift() -> Path:
    """Return where the network's weights are."""
    return Path(str(resources.files("models") / "pair_lift.onnx"))


_chosen: Path | None = shipped_lift()


def use(path: Path | None) -> None:
    """Use another network than the shipped one in this process, or none; to measure with."""
    global _chosen
    _chosen = path


def _network() -> tuple[onnxruntime.InferenceSession, tuple[str, ...]] | None:
    return None if _chosen is None else _opened(_chosen)


@cache
def _opened(path: Path) -> tuple[onnxruntime.InferenceSession, tuple[str, ...]]:
    """The network, and the joint states that it tells apart."""
    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = 1
    network = onnxruntime.InferenceSession(path, options, providers=["CPUExecutionProvider"])
    return network, tuple(json.loads(network.get_modelmeta().custom_metadata_map["states"]))
