"""The colours of an athlete, as short histograms that one can compare.

What is worn on the trunk and arms, what is worn on the legs, and how light hair and skin are: two
athletes in one colour still differ in these and in their belts.
"""

from __future__ import annotations

import numpy as np

from pipeline.bodies import Outline

HUES = 6
GREYS = 3
BINS = HUES + GREYS
PARTS = 3
LENGTH = PARTS * BINS
"""Numbers in a description: upper body, legs, head; each part sums to 1, or to 0 if unseen."""

_ENOUGH = 12  # cells of an outline from which it says more than the skeleton's lines

_ALONG = np.linspace(0.15, 0.85, 5)
_COLOURED_FROM = 0.25  # difference of the strongest and weakest channel that counts as a colour


def describe(
    image: np.ndarray, keypoints: np.ndarray, outline: Outline | None = None
) -> np.ndarray:
    """Describe the colours of one body.

    Parameters
    ----------
    image : ndarray, uint8, (H, W, 3)
        RGB.
    keypoints : ndarray, (17, 3)
        Pixels of `image`; NaN = not seen.
    outline : Outline, optional
        Where the body is seen. Then colours are taken there, each point counted to the nearest
        part of the skeleton; else along the skeleton, whoever covers it.

    Returns
    -------
    ndarray, float32, (LENGTH,)
        Hues of coloured cloth, then dark, middle and light of grey cloth, for upper body and
        legs; then nine steps from dark to light of the head.
    """
    parts = _along_the_skeleton(keypoints[:, :2].astype(np.float64))
    if outline is not None:
        seen = outline.points()
        if len(seen) >= _ENOUGH:
            parts = _by_nearest(seen, parts)
    upper, legs, head = (_pixels(image, part) for part in parts)
    return np.concatenate([_histogram(upper), _histogram(legs), _lightness(head)])


def distance(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Return how different descriptions are: 0 the same, 1 nothing in common.

    One less the Bhattacharyya coefficient, meaned over the parts both have; NaN if none.

    Parameters
    ----------
    a, b : ndarray, (..., LENGTH)
        Broadcast against each other.
    """
    parts_a = np.reshape(a, (*np.shape(a)[:-1], PARTS, BINS)).astype(np.float64)
    parts_b = np.reshape(b, (*np.shape(b)[:-1], PARTS, BINS)).astype(np.float64)
    mass_a, mass_b = parts_a.sum(axis=-1), parts_b.sum(axis=-1)
    alike = np.sqrt(np.clip(parts_a * parts_b, 0, None)).sum(axis=-1)
    both = (mass_a > 0) & (mass_b > 0)
    with np.errstate(invalid="ignore", divide="ignore"):
        apart = np.where(both, 1 - alike / np.sqrt(mass_a * mass_b), 0)
        return np.clip(apart.sum(axis=-1) / both.sum(axis=-1), 0, 1)


def mean(descriptions: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """Return the weighted mean of descriptions (T, LENGTH), each part over those that have it."""
    parts = descriptions.reshape(-1, PARTS, BINS).astype(np.float64)
    each = weights[:, None] * (parts.sum(axis=-1) > 0)
    total = each.sum(axis=0)
    summed = (parts * each[..., None]).sum(axis=0)
    return (summed / np.maximum(total, 1e-12)[:, None]).reshape(LENGTH)


def _along_the_skeleton(points: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Points (…, 2) of upper body, legs and head; NaN where not seen."""
    upper = np.concatenate([_trunk_points(points), _limb_points(points, ((5, 7), (6, 8)))])
    legs = _limb_points(points, ((11, 13), (12, 14), (13, 15), (14, 16)))
    face = points[:5]
    crown = face + 0.4 * (face - (points[5] + points[6]) / 2)
    return upper, legs, np.concatenate([face, crown])


def _by_nearest(
    seen: np.ndarray, parts: tuple[np.ndarray, np.ndarray, np.ndarray]
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Sort points (N, 2) to the part whose points are nearest."""
    apart = []
    for part in parts:
        known = part[np.isfinite(part).all(axis=1)]
        far = np.full(len(seen), np.inf)
        if len(known):
            far = ((seen[:, None] - known[None]) ** 2).sum(axis=2).min(axis=1)
        apart.append(far)
    nearest = np.argmin(apart, axis=0)
    upper, legs, head = (seen[nearest == i] for i in range(PARTS))
    return upper, legs, head


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
    result = np.zeros(BINS, dtype=np.float32)
    if len(pixels) == 0:
        return result
    strongest, weakest = pixels.max(axis=1), pixels.min(axis=1)
    coloured = np.clip((strongest - weakest) / _COLOURED_FROM, 0, 1)
    _spread(result[:HUES], _hue(pixels) * HUES, coloured, wrap=True)
    _spread(result[HUES:], strongest * (GREYS - 1), 1 - coloured, wrap=False)
    return result / len(pixels)


def _lightness(pixels: np.ndarray) -> np.ndarray:
    """Histogram of brightness: skin and hair are of one hue, but not equally light."""
    result = np.zeros(BINS, dtype=np.float32)
    if len(pixels) == 0:
        return result
    _spread(result, pixels.mean(axis=1) * (BINS - 1), np.ones(len(pixels)), wrap=False)
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
