"""How the pair reader errs, as measured on pictures it never saw, laid over true keypoints.

``misread.csv`` has a row for each part of the body, seen and hidden (`Measured`); it is written
by ``python -m models.training.positions misread``. What can't be measured on single pictures is
how long an error lasts: `LASTING_S`, an assumption.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass, fields
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.stats import beta, norm

TABLE = Path(__file__).with_name("misread.csv")
WRONG = 0.05
"""Share of the crop side from which a keypoint counts as wrong, not as inexact."""
CROP_SCALE = 1.25
"""Side of the crop over the long side of the pair's box."""
LASTING_S = 0.6
"""Seconds that an error lasts, about: two to four samples. An assumption."""
TOGETHER = 0.25
"""Correlation of errors within a body (of the normal variables behind right and wrong):
measured 0.15 between right and wrong themselves, which this gives."""
PARTS: dict[str, tuple[int, ...]] = {
    "face": (0, 1, 2, 3, 4),
    "shoulder": (5, 6),
    "elbow": (7, 8),
    "wrist": (9, 10),
    "hip": (11, 12),
    "knee": (13, 14),
    "ankle": (15, 16),
}
"""Rows of COCO keypoints."""
LEFT_RIGHT = np.array([0, 2, 1, 4, 3, 6, 5, 8, 7, 10, 9, 12, 11, 14, 13, 16, 15])


@dataclass(frozen=True)
class Measured:
    """What was measured of one kind of keypoint; in a `table`, an array (2, 17) of each.

    Attributes
    ----------
    wrong : float
        Share further than `WRONG` from the truth.
    other, sides : float
        Shares of the wrong that lie on the other athlete's keypoint, and on the own one of the
        other side.
    near_sd : float
        Standard deviation along each axis of those not wrong; shares of the crop side.
    far_mean : float
        Mean distance beyond `WRONG` of the wrong ones that lie elsewhere.
    right_mean, right_sd, wrong_mean, wrong_sd : float
        Confidence of those not wrong and of the wrong.
    """

    wrong: np.ndarray
    other: np.ndarray
    sides: np.ndarray
    near_sd: np.ndarray
    far_mean: np.ndarray
    right_mean: np.ndarray
    right_sd: np.ndarray
    wrong_mean: np.ndarray
    wrong_sd: np.ndarray


@functools.cache
def table() -> Measured:
    """Read the measurements as arrays (2, 17): visible and hidden, COCO order."""
    rows = pd.read_csv(TABLE)
    columns = {f.name: np.zeros((2, 17)) for f in fields(Measured)}
    for hidden, part, *values in rows[["hidden", "part", *columns]].itertuples(index=False):
        for column, value in zip(columns.values(), values, strict=True):
            column[hidden, list(PARTS[part])] = value
    return Measured(**columns)


def misread(
    rng: np.random.Generator,
    pixels: np.ndarray,
    hidden: np.ndarray,
    times: np.ndarray,
    severity: float = 1.0,
) -> np.ndarray:
    """Place keypoints as the pair reader might.

    Parameters
    ----------
    rng : numpy.random.Generator
    pixels : ndarray, (T, 2, 17, 2)
        Where they are.
    hidden : ndarray, bool, (T, 2, 17)
    times : ndarray, (T,)
        Seconds.
    severity : float
        Factor on the odds of a keypoint's being wrong; 1 as measured.

    Returns
    -------
    ndarray, (T, 2, 17, 3)
        x, y and confidence.
    """
    known = table()
    kind = hidden.astype(int), np.arange(17)
    low, high = pixels.min(axis=(1, 2)), pixels.max(axis=(1, 2))
    side = (CROP_SCALE * (high - low).max(axis=-1))[:, None, None]
    odds = severity * known.wrong / (1 - known.wrong)
    wrong = _together(rng, hidden.shape, times) < (odds / (1 + odds))[kind]

    which = _together(rng, hidden.shape, times)
    offset = lasting_noise(rng, pixels.shape, times, LASTING_S)
    far = WRONG - known.far_mean[kind] * np.log1p(-norm.cdf(offset[..., 0]).clip(0, 1 - 1e-6))
    angle = 2 * np.pi * norm.cdf(offset[..., 1])
    astray = pixels + (far * side)[..., None] * np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    to_other = which < known.other[kind]
    to_side = ~to_other & (which < (known.other + known.sides)[kind])
    near = (known.near_sd[kind] * side)[..., None]
    base = np.where(wrong[..., None], astray, pixels)
    base = np.where((wrong & to_other)[..., None], pixels[:, ::-1], base)
    base = np.where((wrong & to_side)[..., None], pixels[:, :, LEFT_RIGHT], base)
    base = base + near * _partly_lasting(rng, pixels.shape, times)

    mean = np.where(wrong, known.wrong_mean[kind], known.right_mean[kind])
    spread = np.where(wrong, known.wrong_sd[kind], known.right_sd[kind])
    weight = mean * (1 - mean) / spread**2 - 1
    luck = norm.cdf(_partly_lasting(rng, hidden.shape, times))
    confidence = beta.ppf(luck, mean * weight, (1 - mean) * weight)
    return np.concatenate([base, confidence[..., None]], axis=-1)


def _together(rng: np.random.Generator, shape: tuple[int, ...], times: np.ndarray) -> np.ndarray:
    """Uniform numbers (T, 2, 17) that last a while and go together within a body."""
    own = lasting_noise(rng, shape, times, LASTING_S)
    body = lasting_noise(rng, (*shape[:2], 1), times, LASTING_S)
    return norm.cdf(np.sqrt(1 - TOGETHER) * own + np.sqrt(TOGETHER) * body)


def _partly_lasting(
    rng: np.random.Generator, shape: tuple[int, ...], times: np.ndarray
) -> np.ndarray:
    slow = lasting_noise(rng, shape, times, LASTING_S)
    return np.sqrt(0.5) * (slow + rng.normal(size=shape))


def lasting_noise(
    rng: np.random.Generator, shape: tuple[int, ...], times: np.ndarray, lasting_s: float
) -> np.ndarray:
    """Unit Ornstein–Uhlenbeck noise along the first axis, sampled at `times` (seconds)."""
    noise = rng.normal(size=shape)
    for k in range(1, len(times)):
        keep = np.exp(-(times[k] - times[k - 1]) / lasting_s)
        noise[k] = keep * noise[k - 1] + np.sqrt(1 - keep**2) * noise[k]
    return noise
