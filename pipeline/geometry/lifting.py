"""Heights over the mat from one flat picture: what a low camera sees and a high one doesn't.

In a picture taken from above, moving away looks like rising. A small network, trained on made-up
bouts seen through every kind of camera, tells the two apart from both skeletons at once. It works
in two steps: each sample tells roughly how far the camera looks down, and since a camera seldom
moves much, the median over some seconds says it well; heights are told by skeletons and that. How
long bodies look beside the longest of the seconds around says how much they point away.
"""

from __future__ import annotations

from functools import cache
from importlib import resources
from pathlib import Path

import numpy as np
import onnxruntime
import pandas as pd

from pipeline.bodies.look import COCO_MIRROR
from pipeline.geometry.skeleton import HIPS, SHOULDERS, running_median, trunk_length

LIFTED: tuple[str, ...] = ("hip", "shoulder", "head", "foot", "knee")
"""Body points whose height is told; of feet and knees the lower one."""

VIEW_WINDOW_S = 12.0
"""Seconds over which a camera stays about where it is and looks down about as far."""

LIFTED_NAMES: tuple[str, ...] = tuple(f"{a}_{point}_over_mat" for point in LIFTED for a in "ab")
"""Columns of the feature table: heights over the mat along the true vertical, trunk lengths."""


def heights_over_mat(points: np.ndarray, times: np.ndarray | None = None) -> np.ndarray:
    """Return how high hips, shoulders, head, feet and knees of both athletes are.

    Parameters
    ----------
    points : ndarray, (T, 2, 17, 2)
        Pixels; NaN = not seen.
    times : ndarray, (T,), optional
        Seconds. Without them the camera is taken to stay as it is.

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
    when = None if times is None else times[usable]
    placed, length = normalised(points[usable]), looks_long(points[usable], when)
    mirrored = placed[:, :, COCO_MIRROR] * np.array([-1, 1])
    ways = (placed, placed[:, ::-1], mirrored, mirrored[:, ::-1])
    inputs = [network_input(way, length) for way in ways]
    level = np.zeros((len(placed), 1), np.float32)
    tilt = _mean([_run(network, "tilt_seen", one, level) for one in inputs])
    tilt = lasting_tilt(tilt[:, 0], when)
    told = [_run(network, "heights", one, tilt[:, None].astype(np.float32)) for one in inputs]
    plain = [one.reshape(-1, 2, len(LIFTED)).astype(np.float64) for one in told]
    plain[1::2] = [one[:, ::-1] for one in plain[1::2]]
    result[usable] = _mean(plain)
    return result


def _mean(ways: list[np.ndarray]) -> np.ndarray:
    """Mean of both orders of the athletes, of both sides; in no order, so that it is exact."""
    return ((ways[0] + ways[1]) + (ways[2] + ways[3])) / 4


def lasting_tilt(tilt: np.ndarray, times: np.ndarray | None) -> np.ndarray:
    """Return the camera's tilt as most samples around see it, (T,)."""
    if times is None:
        return np.full(len(tilt), np.median(tilt))
    return running_median(times, tilt, VIEW_WINDOW_S)


def looks_long(points: np.ndarray, times: np.ndarray | None) -> np.ndarray:
    """Return the log of what `normalised` divides by over nearly the longest trunk around, (T,)."""
    own = trunk_length(points)
    longest = pd.Series(np.fmax(own[:, 0], own[:, 1]))
    if times is None:
        around = np.full(len(longest), longest.quantile(0.9))
    else:
        longest.index = pd.to_timedelta(times, unit="s")
        window = longest.rolling(pd.Timedelta(seconds=VIEW_WINDOW_S), center=True, min_periods=1)
        around = window.quantile(0.9).to_numpy()
    return np.log(_scale(own) / around)


def normalised(points: np.ndarray) -> np.ndarray:
    """Put the pair in the middle and make its trunks one long, (T, 2, 17, 2)."""
    scale = _scale(trunk_length(points))
    trunks = points[:, :, (*SHOULDERS, *HIPS)].mean(axis=2)
    middle = (trunks[:, 0] + trunks[:, 1]) / 2
    return (points - middle[:, None, None]) / scale[:, None, None, None]


def _scale(own: np.ndarray) -> np.ndarray:
    own = np.where(np.isnan(own), own[:, ::-1], own)
    return np.sqrt(own[:, 0] * own[:, 1])


def network_input(placed: np.ndarray, length: np.ndarray) -> np.ndarray:
    """Return what the network sees, float32 (T, 103): coordinates, 0 if unseen; seen; length."""
    seen = np.isfinite(placed).all(axis=-1)
    coordinates = np.where(seen[..., None], placed, 0).reshape(len(placed), -1)
    length = np.nan_to_num(np.clip(length, -2, 2))[:, None]
    columns = [coordinates, seen.reshape(len(placed), -1), length]
    return np.concatenate(columns, axis=1).astype(np.float32)


def shipped_network() -> Path:
    """Return where the network's weights are."""
    return Path(str(resources.files("models") / "heights.onnx"))


def _run(
    network: onnxruntime.InferenceSession, what: str, pair: np.ndarray, tilt: np.ndarray
) -> np.ndarray:
    (told,) = network.run([what], {"pair": pair, "tilt": tilt})
    return np.asarray(told)


@cache
def _network() -> onnxruntime.InferenceSession | None:
    path = shipped_network()
    if not path.is_file():
        return None
    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = 1
    return onnxruntime.InferenceSession(path, options, providers=["CPUExecutionProvider"])
