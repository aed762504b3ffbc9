"""The colour of what an athlete wears, as a short histogram that one can compare."""

from __future__ import annotations

import numpy as np

HUES = 6
GREYS = 3
HALF = HUES + GREYS
LENGTH = 2 * HALF
"""Numbers in a description: upper body, then legs; each half sums to 1, or to 0 if unseen."""

_ALONG = np.linspace(0.15, 0.85, 5)
_COLOURED_FROM = 0.25  # difference of the strongest and weakest channel that counts as a colour


def describe(image: np.ndarray, keypoints: np.ndarray) -> np.ndarray:
    """Describe the clothing under one skeleton.

    Parameters
    ----------
    image : ndarray, uint8, (H, W, 3)
        RGB.
    keypoints : ndarray, (17, 3)
        Pixels of `image`; NaN = not seen.

    Returns
    -------
    ndarray, float32, (LENGTH,)
        Hues of coloured cloth, then dark, middle and light of grey cloth; for upper body and
        legs.
    """
    points = keypoints[:, :2].astype(np.float64)
    upper = np.concatenate([_trunk_points(points), _limb_points(points, ((5, 7), (6, 8)))])
    lower = _limb_points(points, ((11, 13), (12, 14), (13, 15), (14, 16)))
    return np.concatenate([_histogram(_pixels(image, part)) for part in (upper, lower)])


def distance(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Return how different descriptions are: 0 the same, 1 nothing in common.

    One less the Bhattacharyya coefficient, meaned over the halves both have; NaN if none.

    Parameters
    ----------
    a, b : ndarray, (..., LENGTH)
        Broadcast against each other.
    """
    halves_a = np.reshape(a, (*np.shape(a)[:-1], 2, HALF)).astype(np.float64)
    halves_b = np.reshape(b, (*np.shape(b)[:-1], 2, HALF)).astype(np.float64)
    mass_a, mass_b = halves_a.sum(axis=-1), halves_b.sum(axis=-1)
    alike = np.sqrt(np.clip(halves_a * halves_b, 0, None)).sum(axis=-1)
    both = (mass_a > 0) & (mass_b > 0)
    with np.errstate(invalid="ignore", divide="ignore"):
        apart = np.where(both, 1 - alike / np.sqrt(mass_a * mass_b), 0)
        return np.clip(apart.sum(axis=-1) / both.sum(axis=-1), 0, 1)


def mean(descriptions: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """Return the weighted mean of descriptions (T, LENGTH), each half over those that have it."""
    halves = descriptions.reshape(-1, 2, HALF).astype(np.float64)
    each = weights[:, None] * (halves.sum(axis=-1) > 0)
    total = each.sum(axis=0)
    summed = (halves * each[..., None]).sum(axis=0)
    return (summed / np.maximum(total, 1e-12)[:, None]).reshape(LENGTH)


def _trunk_points(points: np.ndarray) -> np.ndarray:
    left = points[5] + _ALONG[:, None] * (points[11] - points[5])
    right = points[6] + _ALONG[:, None] * (points[12] - points[6])
    across = np.array([0.2, 0.5, 0.8])[:, None, None]
    return (left + across * (right - left)).reshape(-1, 2)


def _limb_points(points: np.ndarray, limbs: tuple[tuple[int, int], ...]) -> np.ndarray:
    return np.concatenate([points[a] + _ALONG[:, None] * (points[b] - points[a]) for a, b in limbs])


def _pixels(image: np.ndarray, points: np.ndarray) -> np.ndarray:
    points = points[np.isfinite(points).all(axis=1)]
    column, row = np.floor(points).astype(int).T
    inside = (column >= 0) & (column < image.shape[1]) & (row >= 0) & (row < image.shape[0])
    return image[row[inside], column[inside], :3].astype(np.float64) / 255


def _histogram(pixels: np.ndarray) -> np.ndarray:
    result = np.zeros(HALF, dtype=np.float32)
    if len(pixels) == 0:
        return result
    strongest, weakest = pixels.max(axis=1), pixels.min(axis=1)
    coloured = np.clip((strongest - weakest) / _COLOURED_FROM, 0, 1)
    _spread(result[:HUES], _hue(pixels) * HUES, coloured, wrap=True)
    _spread(result[HUES:], strongest * (GREYS - 1), 1 - coloured, wrap=False)
    return result / len(pixels)


def _spread(bins: np.ndarray, place: np.ndarray, weight: np.ndarray, wrap: bool) -> None:
    """Share each weight between the two bins next to its place, so that no edge is sharp."""
    low = np.floor(place).astype(int)
    part = place - low
    for index, share in ((low, 1 - part), (low + 1, part)):
        kept = index % len(bins) if wrap else np.clip(index, 0, len(bins) - 1)
        np.add.at(bins, kept, (weight * share).astype(bins.dtype))


def _hue(pixels: np.ndarray) -> np.ndarray:
    """Hue 0–1 of RGB pixels, by the hexagon."""
    r, g, b = pixels.T
    spread = np.maximum(pixels.max(axis=1) - pixels.min(axis=1), 1e-9)
    hue = np.select(
        [pixels.argmax(axis=1) == 0, pixels.argmax(axis=1) == 1],
        [(g - b) / spread, (b - r) / spread + 2],
        (r - g) / spread + 4,
    )
    return (hue / 6) % 1
