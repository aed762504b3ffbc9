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
    shrink = max(crop.side / size, 1.0)
    if shrink == 1.0:
        return _warped(image, crop, size)
    # Shrinking by area first keeps fine texture from turning into false detail; by halves as far
    # as they go, which is several times quicker than in one step.
    halvings = int(np.log2(shrink))
    part, crop = _part(image, crop, 2**halvings)
    for _ in range(halvings):
        part, crop = _halved(part), Crop(*(value / 2 for value in crop))
    if part.size == 0:
        return np.zeros((size, size, *image.shape[2:]), np.uint8)
    shrink /= 2**halvings
    height, width = part.shape[:2]
    small = (max(round(width / shrink), 1), max(round(height / shrink), 1))
    part = cv2.resize(part, small, interpolation=cv2.INTER_AREA)
    fx, fy = small[0] / width, small[1] / height
    return _warped(part, Crop(crop.x0 * fx, crop.y0 * fy, crop.side * fx), size, fx / fy)


def _part(image: np.ndarray, crop: Crop, block: int) -> tuple[np.ndarray, Crop]:
    """Return the part of a picture that a square covers, in whole blocks, and the square within."""
    height, width = image.shape[:2]
    x0, x1 = _blocks(crop.x0, crop.side, width, block)
    y0, y1 = _blocks(crop.y0, crop.side, height, block)
    return image[y0:y1, x0:x1], Crop(crop.x0 - x0, crop.y0 - y0, crop.side)


def _blocks(start: float, length: float, most: int, block: int) -> tuple[int, int]:
    """Return the whole blocks that cover a stretch of a side, as far as it goes."""
    first = max(int(start) // block, 0)
    last = min(int(np.ceil((start + length) / block)), most // block)
    return first * block, max(first, last) * block


def _halved(image: np.ndarray) -> np.ndarray:
    """Return a picture half as large, by the mean of two by two."""
    if image.size == 0:
        return image
    height, width = image.shape[:2]
    return cv2.resize(image, (width // 2, height // 2), interpolation=cv2.INTER_AREA)


def _warped(image: np.ndarray, crop: Crop, size: int, aspect: float = 1.0) -> np.ndarray:
    matrix = _matrix(crop.x0, crop.y0, crop.side, size, aspect)
    return cv2.warpAffine(image, matrix, (size, size), flags=_SAMPLING)


_SAMPLING = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP


def _matrix(x0: float, y0: float, side: float, size: int, aspect: float) -> np.ndarray:
    """Return the map from result pixels to source pixels, pixel centres at halves."""
    k = side / size
    ky = k / aspect
    return np.array([[k, 0, x0 + k / 2 - 0.5], [0, ky, y0 + ky / 2 - 0.5]])


def box_of(points: np.ndarray) -> Region:
    """Return the box around points (N, 2)."""
    (x0, y0), (x1, y1) = points.min(0), points.max(0)
    return Region(float(x0), float(y0), float(x1), float(y1))
