"""Skeletons drawn on a frame."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from pipeline.bodies.look import COCO_LIMBS, Body

Colour = tuple[int, int, int]

ATHLETE_COLOURS: tuple[Colour, Colour] = ((86, 180, 233), (230, 159, 0))
"""RGB of athlete A (sky blue) and B (orange), as on the page.

Source: Okabe and Ito, Color Universal Design, 2008.
"""

OTHER_COLOUR: Colour = (204, 121, 167)
"""RGB of anybody else (reddish purple of the same palette)."""


def draw_bodies(
    image: np.ndarray, bodies: Sequence[Body | np.ndarray | None], least_confidence: float = 0.0
) -> np.ndarray:
    """Return a copy of a frame with skeletons drawn on it.

    Parameters
    ----------
    image : ndarray, uint8, (H, W, 3)
        RGB.
    bodies : sequence of Body, ndarray (17, 3) or None
        Athlete A first, athlete B second; further ones in a third colour.
    least_confidence : float
        Keypoints below it are left out.

    Returns
    -------
    ndarray, uint8, (H, W, 3)
        Hidden keypoints are hollow, limbs that lead to them thin.
    """
    drawn = np.ascontiguousarray(image).copy()
    for index, body in enumerate(bodies):
        if body is None:
            continue
        colour = ATHLETE_COLOURS[index] if index < 2 else OTHER_COLOUR
        _draw(drawn, body, colour, least_confidence)
    return drawn


def _draw(
    image: np.ndarray, body: Body | np.ndarray, colour: Colour, least_confidence: float
) -> None:
    keypoints = body.keypoints if isinstance(body, Body) else body
    hidden = body.hidden if isinstance(body, Body) else None
    hidden = np.zeros(len(keypoints), bool) if hidden is None else hidden
    known = np.isfinite(keypoints[:, :2]).all(1) & (keypoints[:, 2] >= least_confidence)
    unit = max(1, round(max(image.shape[:2]) / 500))
    points = {
        index: (round(float(keypoints[index, 0])), round(float(keypoints[index, 1])))
        for index in np.flatnonzero(known).tolist()
    }
    for start, end in COCO_LIMBS:
        if start not in points or end not in points:
            continue
        width = unit if hidden[start] or hidden[end] else 2 * unit
        # A dark edge keeps the colour readable on any clothing.
        cv2.line(image, points[start], points[end], (0, 0, 0), width + 2, cv2.LINE_AA)
        cv2.line(image, points[start], points[end], colour, width, cv2.LINE_AA)
    for index, point in points.items():
        cv2.circle(image, point, 2 * unit + 1, (0, 0, 0), cv2.FILLED, cv2.LINE_AA)
        if hidden[index]:
            cv2.circle(image, point, 2 * unit + 1, colour, unit, cv2.LINE_AA)
        else:
            cv2.circle(image, point, 2 * unit, colour, cv2.FILLED, cv2.LINE_AA)
