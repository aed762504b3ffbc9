"""How plausible it is that a body moved from where it was to where one is now."""

from __future__ import annotations

import numpy as np

from pipeline.geometry.skeleton import HIPS, SHOULDERS
from pipeline.settings import AthletesSettings

_USUAL_STEP_S = 0.2


def expected(
    points: np.ndarray, velocity: np.ndarray, since_s: np.ndarray, settings: AthletesSettings
) -> np.ndarray:
    """Return where keypoints (..., 17, 2) should be if they went on as they moved.

    Parameters
    ----------
    points : ndarray, (..., 17, 2)
        Where last seen; NaN = never.
    velocity : ndarray, (..., 2)
        Of the body, pixels a second.
    since_s : ndarray, (...)
        Seconds since last seen; inf = never.
    settings : AthletesSettings
    """
    ahead = np.minimum(since_s, settings.predict_s)[..., None]
    return points + (velocity * ahead)[..., None, :]


def cost(
    before: np.ndarray,
    now: np.ndarray,
    since_s: np.ndarray,
    trunk: np.ndarray,
    settings: AthletesSettings,
    most: float,
) -> np.ndarray:
    """Return the cost in nats that the body expected at `before` is the one seen `now`.

    −log of a normal density in the mean distance of shared keypoints, levelling off at
    `most`; wider, and so less likely anywhere, the longer the body was
    not seen.

    Parameters
    ----------
    before, now : ndarray, (..., 17, 2)
        Pixels; broadcast against each other.
    since_s, trunk : ndarray, (...)
        Seconds; trunk length in pixels.
    settings : AthletesSettings
    most : float
        What the most implausible movement costs.

    Returns
    -------
    ndarray, (...)
        NaN where never seen before or no keypoint is shared.
    """
    apart = np.hypot(*np.moveaxis(now - before, -1, 0)) / trunk[..., None]
    shared = np.isfinite(apart)
    count = shared.sum(axis=-1)
    mean = np.where(shared, np.minimum(apart, 3), 0).sum(axis=-1) / np.maximum(count, 1)
    known = np.isfinite(since_s)
    spread = np.hypot(settings.still_spread, settings.speed_spread * np.where(known, since_s, 0))
    squared = (mean / spread) ** 2 / 2
    limited = most * squared / (most + squared)
    # The normal density's own term: whoever was seen last is likelier to be who is seen now.
    usual = np.hypot(settings.still_spread, settings.speed_spread * _USUAL_STEP_S)
    widened = 2 * np.maximum(np.log(spread / usual), 0)
    return np.where(known & (count > 0), limited + widened, np.nan)


def of_body(moved: np.ndarray) -> np.ndarray:
    """Return one movement (..., 2) of a body from its keypoints' (..., 17, 2).

    The trunk's where it is seen, for limbs swing; else the mean of what is seen.
    """
    trunk = moved[..., (*SHOULDERS, *HIPS), :].mean(axis=-2)
    seen = np.isfinite(moved)
    total = np.where(seen, moved, 0).sum(axis=-2)
    mean = np.where(seen.any(axis=-2), total / np.maximum(seen.sum(axis=-2), 1), np.nan)
    return np.where(np.isnan(trunk), mean, trunk)
