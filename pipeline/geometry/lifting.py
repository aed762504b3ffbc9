"""Heights over the mat from one flat picture: what a low camera sees and a high one doesn't.

In a picture taken from above, moving away looks like rising. A small network, trained on rendered
bouts seen through every kind of camera, tells the two apart from both skeletons at once.
"""

from __future__ import annotations

from functools import cache
from importlib import resources
from pathlib import Path

import numpy as np
import onnxruntime

from pipeline.bodies.look import COCO_MIRROR
from pipeline.geometry.skeleton import HIPS, SHOULDERS, trunk_length

LIFTED: tuple[str, ...] = ("hip", "shoulder", "head", "foot", "knee")
"""Body points whose height is told; of feet and knees the lower one."""

LIFTED_NAMES: tuple[str, ...] = tuple(f"{a}_{point}_over_mat" for point in LIFTED for a in "ab")
"""Columns of the feature table: heights over the mat along the true vertical, trunk lengths."""


def heights_over_mat(points: np.ndarray) -> np.ndarray:
    """Return how high hips, shoulders, head, feet and knees of both athletes are.

    Parameters
    ----------
    points : ndarray, (T, 2, 17, 2)
        Pixels; NaN = not seen.

    Returns
    -------
    ndarray, (T, 2, 5)
        Trunk lengths, in the order of `LIFTED`; NaN where an athlete's trunk is not seen. What
        is returned for exchanged athletes is exchanged, for a mirrored picture the same.
    """
    result = np.full((len(points), 2, len(LIFTED)), np.nan)
    network = _network()
    usable = np.isfinite(points[:, :, (*SHOULDERS, *HIPS)]).all(axis=(1, 2, 3))
    if network is None or not usable.any():
        return result
    placed = normalised(points[usable])
    mirrored = placed[:, :, COCO_MIRROR] * np.array([-1, 1])
    plain, turned = _both_ways(network, placed), _both_ways(network, mirrored)
    result[usable] = (plain + turned) / 2
    return result


def normalised(points: np.ndarray) -> np.ndarray:
    """Put the pair in the middle and make its trunks one long, (T, 2, 17, 2)."""
    own = trunk_length(points)
    own = np.where(np.isnan(own), own[:, ::-1], own)
    scale = np.sqrt(own[:, 0] * own[:, 1])
    trunks = points[:, :, (*SHOULDERS, *HIPS)].mean(axis=2)
    middle = (trunks[:, 0] + trunks[:, 1]) / 2
    return (points - middle[:, None, None]) / scale[:, None, None, None]


def network_input(placed: np.ndarray) -> np.ndarray:
    """Return what the network sees, float32 (T, 102): coordinates, 0 if unseen, then seen."""
    seen = np.isfinite(placed).all(axis=-1)
    coordinates = np.where(seen[..., None], placed, 0).reshape(len(placed), -1)
    return np.concatenate([coordinates, seen.reshape(len(placed), -1)], axis=1).astype(np.float32)


def shipped_network() -> Path:
    """Return where the network's weights are."""
    return Path(str(resources.files("models") / "heights.onnx"))


def _both_ways(network: onnxruntime.InferenceSession, placed: np.ndarray) -> np.ndarray:
    return (_run(network, placed) + _run(network, placed[:, ::-1])[:, ::-1]) / 2


def _run(network: onnxruntime.InferenceSession, placed: np.ndarray) -> np.ndarray:
    (told,) = network.run(None, {"pair": network_input(placed)})
    return told.reshape(-1, 2, len(LIFTED)).astype(np.float64)


@cache
def _network() -> onnxruntime.InferenceSession | None:
    path = shipped_network()
    if not path.is_file():
        return None
    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = 1
    return onnxruntime.InferenceSession(path, options, providers=["CPUExecutionProvider"])
