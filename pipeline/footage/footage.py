"""A recording as timed pictures."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from av.video.frame import VideoFrame
from av.video.reformatter import VideoReformatter

from pipeline.errors import MatlineError
from pipeline.footage.decoding import Decoding, Picture
from pipeline.footage.gaps import Gap, clipped, merged
from pipeline.footage.info import FootageInfo, probe
from pipeline.footage.layout import Layout, layout_of
from pipeline.footage.sampling import Span
from pipeline.settings import FootageSettings


@dataclass(frozen=True)
class Frame:
    """One sample.

    Attributes
    ----------
    time_s : float
        Seconds from the file's first picture, from its timestamps.
    image : ndarray, uint8, (H, W, 3)
        RGB as shown: turned, square pixels; smaller than the source by `scale` if asked for.
    scale : float
        Pixels of `image` per source pixel, 1 unless a largest side was asked for.
    """

    time_s: float
    image: np.ndarray
    scale: float = 1.0

    def to_source(self, keypoints: np.ndarray) -> np.ndarray:
        """Return ``(..., 3)`` keypoints of `image` in source pixels."""
        if self.scale == 1.0:
            return keypoints
        return (keypoints / np.array([self.scale, self.scale, 1.0])).astype(keypoints.dtype)


class Footage:
    """A recording: what it is (`info`), its `frames`, and its `gaps`.

    Open one with `Footage.open`. Every call of `frames` reads through a handle of its own, so
    several may run side by side, and nothing stays open in between.
    """

    def __init__(self, info: FootageInfo, settings: FootageSettings | None = None) -> None:
        self.info = info
        self.settings = settings or FootageSettings()
        self._gaps: list[Gap] = []

    @classmethod
    def open(cls, path: str | Path, settings: FootageSettings | None = None) -> Footage:
        """Open a recording.

        Parameters
        ----------
        path : str or Path
        settings : FootageSettings, optional

        Raises
        ------
        FootageError
            If the file is missing, empty, unreadable, or holds no video; the sentence says which.
        """
        return cls(probe(Path(path)), settings)

    @property
    def gaps(self) -> tuple[Gap, ...]:
        """Stretches without good pictures, as far as `frames` has read."""
        return merged(self._gaps)

    def frames(
        self,
        rate_hz: float | None = None,
        start_s: float = 0.0,
        end_s: float | None = None,
        max_side: int | None = None,
        rough: bool = False,
    ) -> Iterator[Frame]:
        """Yield samples in order of time, memory flat in the length of the footage.

        A sample is the first good picture at or after each instant ``k / rate_hz``; a picture that
        is the first after several instants is yielded once. ``frames(start_s=a, end_s=b)`` yields
        exactly those of ``frames()`` with ``a <= time_s < b``.

        Parameters
        ----------
        rate_hz : float, optional
            Samples a second; the settings' rate by default. ``math.inf`` yields every picture.
        start_s, end_s : float
            Half-open stretch in seconds from the first picture; None means to the end.
        max_side : int, optional
            Scale pictures down until no side is longer.
        rough : bool
            Good enough to find bodies in and a fifth quicker; see `FootageSettings.rough_side`.

        Raises
        ------
        MatlineError
            If the rate or the stretch makes no sense.
        FootageError
            If the file vanishes or its disk fails while reading.
        """
        rate = self.settings.rate_hz if rate_hz is None else rate_hz
        span = Span(start_s, math.inf if end_s is None else end_s, rate)
        _check_span(span)
        width, height, scale = self._target_size(max_side)
        shown = _Shown(self.info, width, height)
        for picture in self.pictures(span, rough):
            yield Frame(picture.time_s, shown.rgb(picture.frame), scale)

    def pictures(self, span: Span, rough: bool = False) -> Iterator[Picture]:
        """Yield decoded pictures, unconverted, and record gaps; for work inside this room."""
        decoding = Decoding(self.info, self.settings, span, rough)
        try:
            yield from decoding
        finally:
            parts = (clipped(gap, span.start_s, span.end_s) for gap in decoding.gaps)
            self._gaps.extend(part for part in parts if part is not None)

    def key_frame_times(self) -> list[float]:
        """Return the times at which decoding can start cheaply, seconds, ascending from 0.

        Good borders for chunks; right to within the reordering of pictures.
        """
        return list(self.layout().key_times)

    def layout(self) -> Layout:
        """Return where the pictures lie, from the file's index or packets, without decoding."""
        return layout_of(self.info)

    def _target_size(self, max_side: int | None) -> tuple[int, int, float]:
        """Return width and height of the stored (unturned) picture to make, and the scale."""
        longest = max(self.info.width, self.info.height)
        scale = 1.0 if max_side is None else min(1.0, max_side / longest)
        width, height = self.info.orientation.size(self.info.width, self.info.height)
        return max(1, round(width * scale)), max(1, round(height * scale)), scale


class _Shown:
    """Turns decoded pictures into RGB as shown."""

    def __init__(self, info: FootageInfo, width: int, height: int) -> None:
        self._orientation = info.orientation
        self._size = width, height
        self._reformatter = VideoReformatter()

    def rgb(self, frame: VideoFrame) -> np.ndarray:
        width, height = self._size
        # One thread: swscale's own threads cost more than they give at these sizes.
        shaped = self._reformatter.reformat(
            frame, width=width, height=height, format="rgb24", interpolation="AREA", threads=1
        )
        return self._orientation.apply(np.ascontiguousarray(shaped.to_ndarray()))


def _check_span(span: Span) -> None:
    if not span.rate_hz > 0:
        raise MatlineError(f"A rate of {span.rate_hz} samples a second can't be read; use 5 or so.")
    if math.isnan(span.start_s) or math.isnan(span.end_s) or span.end_s <= span.start_s:
        raise MatlineError(
            f"The stretch from {span.start_s} s to {span.end_s} s is empty; "
            "the end must come after the start."
        )
