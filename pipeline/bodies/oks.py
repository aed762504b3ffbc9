"""Object keypoint similarity, the measure of the COCO keypoint task."""

from __future__ import annotations

import numpy as np
from scipy.optimize import linear_sum_assignment

SIGMAS = np.array(
    [0.026, 0.025, 0.025, 0.035, 0.035, 0.079, 0.079, 0.072, 0.072, 0.062, 0.062, 0.107, 0.107,
     0.087, 0.087, 0.089, 0.089]
)  # fmt: skip
"""How far people who mark keypoints disagree, a keypoint, in square roots of a body's area
(cocodataset.org, keypoint evaluation)."""


def oks(found: np.ndarray, truth: np.ndarray, labelled: np.ndarray, area: float) -> float:
    """Return how alike a found body is to a true one, 0–1.

    Parameters
    ----------
    found, truth : ndarray, (17, 2)
        Pixels, COCO order. A keypoint of `found` that is NaN counts as infinitely far.
    labelled : ndarray, bool, (17,)
        Keypoints of `truth` that count.
    area : float
        Of the true body, square pixels.

    Returns
    -------
    float
        Mean of exp(−d² / (2 · area · (2σ)²)) over the labelled keypoints; NaN without any.
    """
    if not labelled.any():
        return float("nan")
    squared = ((found - truth) ** 2).sum(-1)
    # COCO's reference adds the smallest step of a float64, so that an empty area divides too.
    scaled = squared / (2 * SIGMAS) ** 2 / (area + np.spacing(1)) / 2
    return float(np.exp(-np.where(np.isfinite(scaled), scaled, np.inf))[labelled].mean())


def box_area(points: np.ndarray, labelled: np.ndarray) -> float:
    """Return the area of the box around labelled points (17, 2): a body's area, near enough."""
    width, height = np.ptp(points[labelled], axis=0)
    return float(width * height)


def match(found: np.ndarray, truth: np.ndarray, labelled: np.ndarray) -> list[tuple[int, float]]:
    """Give each true body the found one that makes the sum of similarities largest.

    Parameters
    ----------
    found : ndarray, (N, 17, 2)
    truth : ndarray, (M, 17, 2)
    labelled : ndarray, bool, (M, 17)

    Returns
    -------
    list of (int, float)
        For each true body the row of `found` and the similarity; (−1, 0) if there are too few.
        No row is given twice.
    """
    alike = np.zeros((len(truth), len(found)))
    for row, (points, counts) in enumerate(zip(truth, labelled, strict=True)):
        area = box_area(points, counts) if counts.any() else 0.0
        alike[row] = [np.nan_to_num(oks(body, points, counts, area)) for body in found]
    matched = [(-1, 0.0)] * len(truth)
    for row, column in zip(*linear_sum_assignment(alike, maximize=True), strict=True):
        matched[row] = (int(column), float(alike[row, column]))
    return matched
