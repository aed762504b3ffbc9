"""The mat that counts, where the picture shows several: who is on it, and who isn't."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from pipeline.bodies.look import Body, Look, Region
from pipeline.bodies.pairing import pair_box
from pipeline.errors import MatlineError
from pipeline.settings import BodiesSettings, Corners

_BEARING = slice(11, 17)
"""Hips, knees and ankles in COCO order: what people stand, kneel, sit and lie on."""

_HEADROOM = 0.25
"""How far people reach above the far edge, in mat widths: a mat is 8 to 10 m wide by published
rule books, a person under 2 m tall."""


@dataclass(frozen=True)
class Mat:
    """A region of the picture.

    Attributes
    ----------
    corners : tuple of (x, y)
        In order round the mat, pixels.

    Raises
    ------
    MatlineError
        If the corners enclose nothing.

    Examples
    --------
    >>> Mat.parse("10,20,110,70").holds(60, 40)
    True
    """

    corners: Corners

    def __post_init__(self) -> None:
        sound = len(self.corners) >= 3 and all(math.isfinite(v) for c in self.corners for v in c)
        if not sound or cv2.contourArea(self._outline) < 1:
            raise MatlineError(
                "A mat needs two opposite corners, or three and more in order round it, and must "
                "enclose something."
            )

    @classmethod
    def parse(cls, text: str) -> Mat:
        """Read ``x0,y0,x1,y1`` (a box) or ``x,y`` of three and more corners, in order.

        Raises
        ------
        MatlineError
            If it is neither.
        """
        try:
            numbers = [float(part) for part in text.replace(",", " ").split()]
        except ValueError:
            numbers = []
        if len(numbers) == 4:
            return cls.box(*numbers)
        if len(numbers) < 6 or len(numbers) % 2:
            raise MatlineError(
                f"“{text}” is no mat; write x0,y0,x1,y1 in pixels of the picture, or x,y of each "
                "corner in order round it."
            )
        return cls(tuple(zip(numbers[::2], numbers[1::2], strict=True)))

    @classmethod
    def box(cls, x0: float, y0: float, x1: float, y1: float) -> Mat:
        """Return the mat between two opposite corners."""
        return cls(((x0, y0), (x1, y0), (x1, y1), (x0, y1)))

    @property
    def _outline(self) -> np.ndarray:
        return np.array(self.corners, dtype=np.float32)

    @property
    def bounds(self) -> Region:
        """The smallest box that holds it."""
        (x0, y0), (x1, y1) = self._outline.min(axis=0), self._outline.max(axis=0)
        return Region(float(x0), float(y0), float(x1), float(y1))

    @property
    def reach(self) -> Region:
        """The box in which people on the mat can be seen, whole."""
        bounds = self.bounds
        return replace(bounds, y0=bounds.y0 - _HEADROOM * bounds.size[0])

    def scaled(self, scale: float) -> Mat:
        """Return the mat in a picture `scale` times as large."""
        return Mat(tuple((x * scale, y * scale) for x, y in self.corners))

    def holds(self, x: float, y: float, margin: float = 0.0) -> bool:
        """Return whether a point lies on it, or at most `margin` pixels beside it."""
        return cv2.pointPolygonTest(self._outline, (float(x), float(y)), True) >= -margin

    def holds_box(self, box: Region, margin: float) -> bool:
        """Return whether what fills a box stands on it; `margin` in diagonals of the box."""
        foot = box.y1 - margin * box.size[1]
        return self.holds((box.x0 + box.x1) / 2, foot, margin * math.hypot(*box.size))

    def holds_body(self, keypoints: np.ndarray, margin: float) -> bool:
        """Return whether a body bears on it.

        A body bears on the lowest of its hips, knees and ankles: feet where it stands, hips where
        it lies with its legs in the air. A head in front of the mat doesn't count.

        Parameters
        ----------
        keypoints : ndarray, (17, 3)
        margin : float
            In diagonals of the body's box.
        """
        known = keypoints[np.isfinite(keypoints[:, :2]).all(axis=1), :2]
        if len(known) == 0:
            return False
        bearing = keypoints[_BEARING, :2]
        bearing = bearing[np.isfinite(bearing).all(axis=1)]
        low = bearing if len(bearing) else known
        x, y = low[np.argsort(low[:, 1])[-2:]].mean(axis=0)
        return self.holds(x, y, margin * float(np.hypot(*np.ptp(known, axis=0))))

    def only(self, look: Look, settings: BodiesSettings) -> Look:
        """Return a look without the people beside the mat; what was said of a pair goes with one.

        Parameters
        ----------
        look : Look
        settings : BodiesSettings
        """
        kept = self.people(look.bodies, settings.mat_margin)
        if len(kept) == len(look.bodies):
            return look
        return replace(
            look,
            bodies=kept,
            region=pair_box(kept, settings),
            positions=None,
            top=None,
            pair=False,
        )

    def people(self, bodies: Iterable[Body], margin: float) -> tuple[Body, ...]:
        """Return those who bear on the mat."""
        return tuple(body for body in bodies if self.holds_body(body.keypoints, margin))


def mat_of(corners: Sequence[tuple[float, float]]) -> Mat | None:
    """Return the mat of some corners; None if there are none: the whole picture counts."""
    return Mat(tuple(corners)) if corners else None
