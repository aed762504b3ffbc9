"""Square crops of a picture: the one way that training and reading both look at a pair."""

from __future__ import annotations

from typing import NamedTuple

import cv2
import numpy as np

from pipeline.bodies.look import Region

CROP_SCALE = 1.25
"""Side of the crop over the long side of the pair; the framing that training evaluates at."""


class Crop(NamedTuple):
    """A square of the source: top-left corner and side, source pixels."""

    x0: float
    y0: float
    side: float


def square_around(region: Region, scale: float = CROP_SCALE) -> Crop:
    """Return the square crop around a region, `scale` times its long side."""
    side = max(*region.size, 8.0) * scale
    return Crop((region.x0 + region.x1 - side) / 2, (region.y0 + region.y1 - side) / 2, side)


def cut(image: np.ndarray, crop: Crop, size: int) -> np.ndarray:
    """Cut a square out of a picture and scale it; black beyond the border.

    Parameters
    ----------
    image : ndarray, uint8, (H, W) or (H, W, C)
    crop : Crop
    size : int
        Side of the result, pixels.

    Returns
    -------
    ndarray, uint8, (size, size) or (size, size, C)
    """
    # Shrinking by area first keeps fine texture from turning into false detail.
    shrink = max(crop.side / size, 1.0)
    if shrink > 1.0:
        height, width = image.shape[:2]
        x0, y0 = max(int(crop.x0), 0), max(int(crop.y0), 0)
        x1 = min(int(np.ceil(crop.x0 + crop.side)), width)
        y1 = min(int(np.ceil(crop.y0 + crop.side)), height)
        if x1 <= x0 or y1 <= y0:
            return np.zeros((size, size, *image.shape[2:]), np.uint8)
        small = (max(round((x1 - x0) / shrink), 1), max(round((y1 - y0) / shrink), 1))
        part = cv2.resize(image[y0:y1, x0:x1], small, interpolation=cv2.INTER_AREA)
        fx, fy = small[0] / (x1 - x0), small[1] / (y1 - y0)
        matrix = _matrix((crop.x0 - x0) * fx, (crop.y0 - y0) * fy, crop.side * fx, size, fx / fy)
        return cv2.warpAffine(part, matrix, (size, size), flags=_SAMPLING)
    return cv2.warpAffine(
        image, _matrix(crop.x0, crop.y0, crop.side, size), (size, size), flags=_SAMPLING
    )


_SAMPLING = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP


def _matrix(x0: float, y0: float, side: float, size: int, aspect: float = 1.0) -> np.ndarray:
    """Return the map from result pixels to source pixels, pixel centres at halves."""
    k = side / size
    ky = k / aspect
    return np.array([[k, 0, x0 + k / 2 - 0.5], [0, ky, y0 + ky / 2 - 0.5]])


def box_of(points: np.ndarray) -> Region:
    """Return the box around points (N, 2)."""
    (x0, y0), (x1, y1) = points.min(0), points.max(0)
    return Region(float(x0), float(y0), float(x1), float(y1))
