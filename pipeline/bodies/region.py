"""Where the pair is, carried from sample to sample."""

from __future__ import annotations

from functools import cached_property

import cv2
import numpy as np

from pipeline.bodies.look import BodyReader, Look, Region
from pipeline.bodies.mat import Mat
from pipeline.settings import BodiesSettings

_MOTION_WIDTH = 160
"""Width in pixels at which motion is looked for; a limb is a few pixels wide there."""


class RegionTracker:
    """Keeps a reader looking at the pair.

    A reader sees more in a close crop than in the whole frame. The tracker hands it the box of
    the pair from the last samples, smoothed; when the pair has not been seen for a few samples it
    looks at the whole frame again, and where motion is.

    Parameters
    ----------
    settings : BodiesSettings, optional

    Attributes
    ----------
    region : Region or None
        Box around both athletes in source pixels; None while they are lost.
    """

    def __init__(self, settings: BodiesSettings | None = None) -> None:
        self._settings = settings or BodiesSettings()
        self._motion = Motion()
        self._misses = 0
        self._searches = 0
        self.region: Region | None = None

    def read(self, reader: BodyReader, image: np.ndarray, mat: Mat | None = None) -> Look:
        """Read the next sample where the pair is.

        Parameters
        ----------
        reader : BodyReader
        image : ndarray, uint8, (H, W, 3)
            RGB; the samples of one file, in order.
        mat : Mat, optional
            In the pixels of `image`: who is not on it is not there.

        Returns
        -------
        Look
            Its `region` is the box of the pair in this sample, None if it was not seen.
        """
        self._motion.saw(image)
        look = self._read(reader, image, self.region, mat)
        if look.region is None:
            self._misses += 1
            if self.region is None or self._misses >= self._settings.region_patience:
                look = self._find(reader, image, mat, look)
        if look.region is not None:
            self._misses = self._searches = 0
            self.region = clamped(self._smoothed(look.region), image)
        return look

    def _read(
        self, reader: BodyReader, image: np.ndarray, place: Region | None, mat: Mat | None
    ) -> Look:
        if mat is None:
            return reader.read(image, place)
        return mat.only(reader.read(image, place, mat), self._settings)

    def _find(
        self,
        reader: BodyReader,
        image: np.ndarray,
        mat: Mat | None,
        seen: Look,
    ) -> Look:
        """Look at the whole frame, then where motion is; the fullest look if none shows a pair."""
        places: list[Region | None] = [None] if self.region is not None else []
        self.region, self._misses = None, 0
        moving = self._motion.region()
        # An empty mat may be filmed for hours; looking twice at each sample would double the night.
        if mat is not None and moving is not None:
            moving = shared(moving, mat.reach)
        if moving is not None and self._searches % self._settings.region_motion_every == 0:
            places.append(moving)
        self._searches += moving is not None
        for place in places:
            look = self._read(reader, image, place, mat)
            if look.region is not None:
                return look
            if len(look.bodies) > len(seen.bodies):
                seen = look
        return seen

    def _smoothed(self, box: Region) -> Region:
        """Follow the box: at once where it grows, slowly where it shrinks."""
        last, keep = self.region, self._settings.region_shrink
        if last is None:
            return box
        return Region(
            min(box.x0, keep * last.x0 + (1 - keep) * box.x0),
            min(box.y0, keep * last.y0 + (1 - keep) * box.y0),
            max(box.x1, keep * last.x1 + (1 - keep) * box.x1),
            max(box.y1, keep * last.y1 + (1 - keep) * box.y1),
        )


class Motion:
    """Finds where a picture differs from the one before.

    Pictures are only looked into when that is asked, which it seldom is.
    """

    def __init__(self) -> None:
        self._before: _Small | None = None
        self._now: _Small | None = None

    def saw(self, image: np.ndarray) -> None:
        """Take the next picture, (H, W, 3)."""
        self._before, self._now = self._now, _Small(image)

    def region(self) -> Region | None:
        """Return the box that holds nearly all motion from the last picture to this, or None.

        None at first, on a still picture, and when the whole picture moves (the camera does).
        """
        if self._before is None or self._now is None:
            return None
        last, grey = self._before.grey, self._now.grey
        if last.shape != grey.shape:
            return None
        energy = cv2.absdiff(grey, last).astype(np.float64)
        energy[energy < 8] = 0  # sensor noise and compression
        moving = np.count_nonzero(energy) / energy.size
        if not 0.002 < moving < 0.5:
            return None
        x0, x1 = _middle(energy.sum(0))
        y0, y1 = _middle(energy.sum(1))
        scale = self._now.scale
        return Region(x0 * scale, y0 * scale, (x1 + 1) * scale, (y1 + 1) * scale)


class _Small:
    """A picture, or, once that was asked for, what is left of it at the width for motion."""

    def __init__(self, image: np.ndarray) -> None:
        self._image: np.ndarray | None = image
        self.scale = image.shape[1] / _MOTION_WIDTH

    @cached_property
    def grey(self) -> np.ndarray:
        """The picture in grey, small and smooth."""
        image, self._image = self._image, None
        assert image is not None
        height, width = image.shape[:2]
        size = _MOTION_WIDTH, max(1, round(_MOTION_WIDTH * height / width))
        small = cv2.resize(image, size, interpolation=cv2.INTER_AREA)
        return cv2.GaussianBlur(cv2.cvtColor(small, cv2.COLOR_RGB2GRAY), (5, 5), 0)


def _middle(energy: np.ndarray, share: float = 0.95) -> tuple[int, int]:
    """Return the first and last index of the middle share of a distribution."""
    total = np.cumsum(energy) / energy.sum()
    tail = (1 - share) / 2
    return int(np.searchsorted(total, tail)), int(np.searchsorted(total, 1 - tail))


def shared(a: Region, b: Region) -> Region | None:
    """Return what two regions have in common, or None."""
    both = Region(max(a.x0, b.x0), max(a.y0, b.y0), min(a.x1, b.x1), min(a.y1, b.y1))
    return both if min(both.size) > 0 else None


def clamped(region: Region, image: np.ndarray) -> Region:
    """Return the part of a region inside the frame, at least one pixel."""
    height, width = image.shape[:2]
    x0, y0 = min(max(0.0, region.x0), width - 1.0), min(max(0.0, region.y0), height - 1.0)
    x1, y1 = max(min(float(width), region.x1), x0 + 1), max(min(float(height), region.y1), y0 + 1)
    return Region(x0, y0, x1, y1)
