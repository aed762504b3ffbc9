"""Single pictures."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np

from pipeline.footage.errors import FootageError, check_file

PICTURE_SUFFIXES = frozenset(
    {".avif", ".bmp", ".jpeg", ".jpg", ".png", ".ppm", ".tif", ".tiff", ".webp"}
)
"""Lower-case endings that are taken for a picture and not for footage."""


def read_picture(path: str | Path) -> np.ndarray:
    """Read a picture as shown, its EXIF orientation applied.

    Parameters
    ----------
    path : str or Path

    Returns
    -------
    ndarray, uint8, (H, W, 3)
        RGB.

    Raises
    ------
    FootageError
        If the file is missing, unreadable or no picture.
    """
    path = Path(path)
    check_file(path)
    data = np.fromfile(path, dtype=np.uint8)
    try:
        image = cv2.imdecode(data, cv2.IMREAD_COLOR_RGB)
    except cv2.error:
        image = None
    if image is None:
        raise FootageError(
            f"{path}: this is not a picture that can be read; save it as JPEG or PNG and try again."
        )
    return image
