"""How a camera was held: the display matrix as a transpose and two flips."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np


@dataclass(frozen=True)
class Orientation:
    """The step from stored to shown picture: transpose first, then flip.

    Attributes
    ----------
    transpose : bool
        Swap rows and columns.
    flip_x, flip_y : bool
        Then mirror left–right, and top–bottom.
    """

    transpose: bool = False
    flip_x: bool = False
    flip_y: bool = False

    @classmethod
    def from_matrix(cls, data: bytes) -> Orientation:
        """Read a display matrix.

        Parameters
        ----------
        data : bytes
            Nine native int32: ``a b u c d v x y w`` (ISO/IEC 14496-12, 6.2.2); a point is shown at
            ``(a x + c y, b x + d y)``. Only multiples of 90° and mirrors are applied; anything
            else counts as upright.
        """
        a, b, _, c, d, *_ = np.frombuffer(data[:36], dtype=np.int32).tolist()
        if a and d and not (b or c):
            return cls(False, a < 0, d < 0)
        if b and c and not (a or d):
            return cls(True, c < 0, b < 0)
        return cls()

    @property
    def degrees_clockwise(self) -> int:
        """How far the stored picture is turned to be shown: 0, 90, 180 or 270."""
        if self.transpose:
            return 90 if self.flip_x else 270
        return 180 if self.flip_y else 0

    @property
    def mirrored(self) -> bool:
        """Whether the shown picture is a mirror image (of the turned one)."""
        return self.transpose ^ self.flip_x ^ self.flip_y

    def size(self, width: int, height: int) -> tuple[int, int]:
        """Return the shown width and height of a stored size."""
        return (height, width) if self.transpose else (width, height)

    def apply(self, image: np.ndarray) -> np.ndarray:
        """Return the picture as shown, contiguous; ``(H, W, C)`` in and ``(H, W, C)`` out."""
        if self.transpose:
            image = cv2.transpose(image)
        if self.flip_x or self.flip_y:
            code = -1 if self.flip_x and self.flip_y else int(self.flip_x)
            image = cv2.flip(image, code)
        return image
