"""Skeletons as numbers: keypoint indexes, proportions of a body, and how large one is in pixels."""

from __future__ import annotations

import numpy as np
import pandas as pd

NOSE = 0
EARS = (3, 4)
SHOULDERS = (5, 6)
ELBOWS = (7, 8)
WRISTS = (9, 10)
HIPS = (11, 12)
KNEES = (13, 14)
ANKLES = (15, 16)

ARM_SEGMENTS: tuple[tuple[int, int], ...] = ((5, 7), (6, 8), (7, 9), (8, 10))
LEG_SEGMENTS: tuple[tuple[int, int], ...] = ((11, 13), (12, 14), (13, 15), (14, 16))
LIMB_SEGMENTS = ARM_SEGMENTS + LEG_SEGMENTS

STATURE_FRACTIONS: dict[str, float] = {
    "upper_arm": 0.186,
    "forearm": 0.146,
    "thigh": 0.245,
    "shank": 0.246,
    "shoulder_breadth": 0.259,
    "hip_breadth": 0.191,
    "trunk": 0.288,
}
"""Lengths as fractions of stature: Drillis & Contini (1966), as tabulated in Winter,
Biomechanics and Motor Control of Human Movement. From memory. The trunk is shoulder height
0.818 less hip height 0.530."""

TRUNK = STATURE_FRACTIONS["trunk"]

_LIMB_FRACTIONS = np.array(
    [STATURE_FRACTIONS[n] for n in ("upper_arm", "forearm", "thigh", "shank") for _ in range(2)]
)


def midpoint(points: np.ndarray, pair: tuple[int, int]) -> np.ndarray:
    """Return the middle of two keypoints, NaN where either is not seen.

    Parameters
    ----------
    points : ndarray, (..., 17, 2)
    pair : (int, int)

    Returns
    -------
    ndarray, (..., 2)
    """
    return (points[..., pair[0], :] + points[..., pair[1], :]) / 2


def seen_points(keypoints: np.ndarray, min_confidence: float) -> np.ndarray:
    """Return x, y as float64, (..., 17, 2), NaN where not seen or not believed."""
    points = keypoints[..., :2].astype(np.float64)
    confidence = keypoints[..., 2]
    unseen = ~(confidence >= min_confidence) | np.isnan(points).any(axis=-1)
    points[unseen] = np.nan
    return points


def trunk_length(points: np.ndarray, quantile: float = 0.8, min_segments: int = 3) -> np.ndarray:
    """Return how long a trunk would be if it lay in the picture plane, in pixels.

    A trunk that points at the camera looks short, but then some limb does not. Every segment
    seen says "the stature is at least my length / my fraction"; a high quantile of what they
    say is the body's scale. For directions drawn evenly in space the 0.8 quantile of the
    foreshortening is √(1 − 0.2²) = 0.98, and for a body in the picture plane it is exact.

    Parameters
    ----------
    points : ndarray, (..., 17, 2)
        Pixels; NaN = not seen.
    quantile : float
        0–1, over the nine segments (trunk, arms, legs).
    min_segments : int
        With fewer segments seen the answer is NaN.

    Returns
    -------
    ndarray, (...)
    """
    trunk = midpoint(points, SHOULDERS) - midpoint(points, HIPS)
    starts, ends = np.array(LIMB_SEGMENTS).T
    limbs = points[..., ends, :] - points[..., starts, :]
    statures = np.concatenate(
        [
            (np.hypot(trunk[..., 0], trunk[..., 1]) / TRUNK)[..., None],
            np.hypot(limbs[..., 0], limbs[..., 1]) / _LIMB_FRACTIONS,
        ],
        axis=-1,
    )
    return TRUNK * nan_quantile(statures, quantile, min_segments)


def nan_quantile(values: np.ndarray, quantile: float, min_count: int = 1) -> np.ndarray:
    """Return a quantile over the last axis, NaN passed over; NaN below `min_count` values."""
    # np.nanquantile loops over rows in Python; sorting puts NaN last and is vectorised.
    ordered = np.sort(values, axis=-1)
    count = np.isfinite(values).sum(axis=-1)
    place = quantile * np.maximum(count - 1, 0)
    low = np.floor(place).astype(int)
    high = np.minimum(low + 1, np.maximum(count - 1, 0))
    at_low = np.take_along_axis(ordered, low[..., None], axis=-1)[..., 0]
    at_high = np.take_along_axis(ordered, high[..., None], axis=-1)[..., 0]
    result = at_low + (place - low) * (at_high - at_low)
    return np.where(count >= min_count, result, np.nan)


def running_median(times: np.ndarray, values: np.ndarray, window_s: float) -> np.ndarray:
    """Return the median over a centred time window; NaN samples are passed over.

    Parameters
    ----------
    times : ndarray, (T,)
        Seconds, increasing.
    values : ndarray, (T,) or (T, N)
    window_s : float
        Whole width of the window.
    """
    frame = pd.DataFrame(values, index=pd.to_timedelta(times, unit="s"))
    rolled = frame.rolling(
        pd.Timedelta(seconds=window_s), center=True, min_periods=1, closed="both"
    )
    return rolled.median().to_numpy().reshape(values.shape)
