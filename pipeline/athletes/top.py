"""Who is on top: the reader's word where it has one, else whose trunk is higher, smoothed."""

from __future__ import annotations

import numpy as np

from pipeline.athletes.two_state import posterior
from pipeline.geometry import trunk_length
from pipeline.geometry.skeleton import HIPS, SHOULDERS, midpoint, seen_points
from pipeline.settings import AthletesSettings


def who_is_on_top(
    times: np.ndarray, keypoints: np.ndarray, said: np.ndarray, settings: AthletesSettings
) -> np.ndarray:
    """Return the probability that A is on top.

    Parameters
    ----------
    times : ndarray, (T,)
    keypoints : ndarray, (T, 2, 17, 3)
    said : ndarray, (T,)
        What the reader said of each sample, 0–1; NaN = nothing.
    settings : AthletesSettings

    Returns
    -------
    ndarray, (T,)
        NaN where neither the reader nor both trunks say anything.
    """
    if len(times) == 0:
        return np.zeros(0)
    points = seen_points(keypoints, settings.min_confidence)
    trunk = trunk_length(points)
    with np.errstate(invalid="ignore"):
        scale = np.sqrt(trunk[:, 0] * trunk[:, 1])
    middle = (midpoint(points, SHOULDERS) + midpoint(points, HIPS)) / 2
    higher = (middle[:, 1, 1] - middle[:, 0, 1]) / scale
    from_height = settings.top_height_weight * np.clip(higher, -1.5, 1.5)
    sure = np.clip(said, 0.02, 0.98)
    from_reader = np.log(sure / (1 - sure))
    odds = np.where(np.isnan(from_reader), from_height, from_reader)
    nothing = np.isnan(odds)
    odds = np.where(nothing, 0, odds)
    elapsed = np.diff(times, prepend=times[0])
    # Exchanges come at a rate: the chance of one grows with the time between samples.
    chance = np.clip(0.5 * (1 - np.exp(-2 * elapsed / settings.top_lasts_s)), 1e-6, 0.5)
    state = np.stack([-odds / 2, odds / 2], axis=1)
    smooth = posterior(state, -np.log1p(-chance), -np.log(chance))[:, 0]
    return np.where(nothing, np.nan, smooth)
