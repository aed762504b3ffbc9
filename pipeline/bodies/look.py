"""What a body reader says of one frame, and the protocol every reader keeps."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Protocol

import numpy as np

if TYPE_CHECKING:
    from pipeline.bodies.mat import Mat

COCO_KEYPOINTS: tuple[str, ...] = (
    "nose", "left_eye", "right_eye", "left_ear", "right_ear",
    "left_shoulder", "right_shoulder", "left_elbow", "right_elbow",
    "left_wrist", "right_wrist", "left_hip", "right_hip",
    "left_knee", "right_knee", "left_ankle", "right_ankle",
)  # fmt: skip
"""Order of the COCO keypoint standard (cocodataset.org, person keypoints, 17 a person)."""

COCO_LIMBS: tuple[tuple[int, int], ...] = (
    (15, 13), (13, 11), (16, 14), (14, 12), (11, 12), (5, 11), (6, 12), (5, 6), (5, 7), (6, 8),
    (7, 9), (8, 10), (1, 2), (0, 1), (0, 2), (1, 3), (2, 4), (3, 5), (4, 6),
)  # fmt: skip
"""Pairs of keypoints that make a drawn skeleton (the COCO standard's, counted from 0)."""

COCO_MIRROR: tuple[int, ...] = (0, 2, 1, 4, 3, 6, 5, 8, 7, 10, 9, 12, 11, 14, 13, 16, 15)
"""The order after left and right are exchanged."""


@dataclass(frozen=True)
class Region:
    """A box in source pixels, half-open: ``x0 <= x < x1``."""

    x0: float
    y0: float
    x1: float
    y1: float

    @property
    def size(self) -> tuple[float, float]:
        """Width and height in pixels."""
        return self.x1 - self.x0, self.y1 - self.y0


@dataclass(frozen=True)
class Outline:
    """Where in a picture one body is seen, as a coarse map over a square.

    Attributes
    ----------
    x0, y0, side : float
        The square, source pixels.
    cover : ndarray, float, (S, S)
        Probability that this body is what is seen there.
    """

    x0: float
    y0: float
    side: float
    cover: np.ndarray

    def points(self, least: float = 0.5) -> np.ndarray:
        """Return the middles of the cells that show the body, (N, 2), source pixels."""
        cell = self.side / len(self.cover)
        row, column = np.nonzero(self.cover >= least)
        return np.stack([self.x0, self.y0]) + (np.stack([column, row], axis=1) + 0.5) * cell


@dataclass(frozen=True)
class Body:
    """One person in one frame.

    Attributes
    ----------
    keypoints : ndarray, float32, (17, 3)
        x, y in source pixels and confidence 0–1, COCO order; NaN where not seen.
    score : float
        0–1, how sure the reader is that this is a person.
    hidden : ndarray, bool, (17,) or None
        True where the reader places a keypoint it believes is covered; None if it can't tell.
    outline : Outline or None
        Where the body is seen, if the reader can tell.
    """

    keypoints: np.ndarray
    score: float
    hidden: np.ndarray | None = None
    outline: Outline | None = None


@dataclass(frozen=True)
class Look:
    """What a reader saw in one frame.

    Attributes
    ----------
    bodies : tuple of Body
        All people found; a pair reader gives exactly the pair, in no lasting order.
    region : Region or None
        Where the pair is, as far as the reader knows; carried to the next sample.
    positions : mapping of str to float, or None
        The reader's own position scores (sum 1), if it has an opinion.
    top : float or None
        Probability that ``bodies[0]`` is the one on top, if the reader has an opinion.
    pair : bool
        The reader looked for the pair and is sure of it: the two bodies are two people and the
        pair, however alike they lie or far they moved.
    """

    bodies: tuple[Body, ...] = ()
    region: Region | None = None
    positions: Mapping[str, float] | None = None
    top: float | None = None
    pair: bool = False
    extra: Mapping[str, float] = field(default_factory=dict)


class BodyReader(Protocol):
    """Anything that turns a frame into a `Look`."""

    name: str

    def read(self, image: np.ndarray, region: Region | None = None, mat: Mat | None = None) -> Look:
        """Read one frame.

        Parameters
        ----------
        image : ndarray, uint8, (H, W, 3)
            RGB.
        region : Region, optional
            Where to look; None means the whole frame.
        mat : Mat, optional
            Given where only one mat of the picture counts: a reader that looks for the pair itself
            then looks there. Others may be returned too; they are left out later.

        Returns
        -------
        Look
            Keypoints in the pixels of `image`.
        """
        ...
