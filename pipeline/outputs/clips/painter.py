"""What is drawn on a clip's pictures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import matplotlib
import numpy as np
import pandas as pd
from PIL import Image, ImageDraw, ImageFont

from pipeline.bodies.draw import ATHLETE_COLOURS, draw_bodies
from pipeline.outputs.clips.choose import Clip
from pipeline.outputs.clips.skeletons import head_circle, keypoints_at, nearby
from pipeline.settings import ClipsSettings
from pipeline.timeline import ATHLETES

_INK, _PAPER = (20, 20, 20), (245, 245, 245)
_TRACES = ("a_hip_height", "b_hip_height")
_TRACE_TOP = 2.5
"""Trunk lengths at the strip's upper edge; standing hips are at about 1.9."""


@dataclass(frozen=True)
class Look:
    """What to draw.

    Attributes
    ----------
    caption, skeletons, trace : bool
        Bout, clock and what is seen; both skeletons; hip heights with a line at the moment.
    blur_faces : bool
        Hide the two athletes' heads. Nobody else's: their heads aren't known.
    blur_others : bool
        Hide everything away from the pair.
    """

    caption: bool = True
    skeletons: bool = False
    trace: bool = False
    blur_faces: bool = False
    blur_others: bool = False

    @property
    def needs_keypoints(self) -> bool:
        """Whether skeletons must be known."""
        return self.skeletons or self.blur_faces or self.blur_others


class Painter:
    """Draws on the pictures of one clip.

    Parameters
    ----------
    clip : Clip
    look : Look
    size : (int, int)
        Width and height of the pictures without the trace strip, which goes below.
    times, keypoints : ndarray
        ``(T,)`` and ``(T, 2, 17, 3)`` in source pixels; empty if nothing needs them.
    features : DataFrame
        For the trace.
    settings : ClipsSettings
    """

    def __init__(
        self,
        clip: Clip,
        look: Look,
        size: tuple[int, int],
        times: np.ndarray,
        keypoints: np.ndarray,
        features: pd.DataFrame,
        settings: ClipsSettings,
    ) -> None:
        self._clip, self._look, self._settings = clip, look, settings
        self._times, self._keypoints = times, keypoints
        self._width, self._height = size
        rows = strip_height(self._height, settings)
        self._strip = (
            _trace_strip(clip, features, self._width, rows)
            if look.trace
            else np.empty((0, self._width, 3), np.uint8)
        )
        # Colours mean nothing to who doesn't know whose they are.
        named = _athletes(clip) if look.skeletons or look.trace else []
        self._caption = _caption(clip.caption, named, *size) if look.caption else None

    def paint(self, image: np.ndarray, time_s: float, scale: float) -> np.ndarray:
        """Return a finished picture.

        Parameters
        ----------
        image : ndarray, uint8, (H, W, 3)
            RGB, of the footage.
        time_s : float
        scale : float
            Pixels of `image` a source pixel.
        """
        if self._look.needs_keypoints:
            image = self._with_bodies(image, time_s, scale)
        picture = _fitted(image, self._width, self._height)
        if self._caption is not None:
            rows = len(self._caption)
            picture[:rows] = picture[:rows] // 3 + self._caption
        return np.vstack([picture, self._strip_at(time_s)])

    def _with_bodies(self, image: np.ndarray, time_s: float, scale: float) -> np.ndarray:
        to_image = np.array([scale, scale, 1.0], dtype=np.float32)
        bodies = (
            keypoints_at(self._times, self._keypoints, time_s, self._settings.bridge_s) * to_image
        )
        around = nearby(self._times, self._keypoints, time_s, self._settings.bridge_s) * to_image
        around = np.concatenate([bodies[None], around])
        if self._look.blur_others:
            image = _blurred_outside(image, around)
        if self._look.blur_faces:
            image = _blurred_heads(image, around, self._settings.head)
        return draw_bodies(image, list(bodies)) if self._look.skeletons else image

    def _strip_at(self, time_s: float) -> np.ndarray:
        strip = self._strip.copy()
        if len(strip):
            share = (time_s - self._clip.start_s) / (self._clip.end_s - self._clip.start_s)
            x = round(share * (self._width - 1))
            cv2.line(strip, (x, 0), (x, len(strip)), _INK, max(1, self._width // 600))
        return strip


def strip_height(height: int, settings: ClipsSettings) -> int:
    """Return the rows of the trace strip in a picture of this height, an even number."""
    return round(height * settings.trace_height / 2) * 2


def _fitted(image: np.ndarray, width: int, height: int) -> np.ndarray:
    """Return the picture in the middle of a black one of the size, as large as it fits."""
    scale = min(width / image.shape[1], height / image.shape[0])
    size = max(1, round(image.shape[1] * scale)), max(1, round(image.shape[0] * scale))
    if size != image.shape[1::-1]:
        image = cv2.resize(image, size, interpolation=cv2.INTER_AREA)
    if size == (width, height):
        return image.copy()
    canvas = np.zeros((height, width, 3), np.uint8)
    x, y = (width - size[0]) // 2, (height - size[1]) // 2
    canvas[y : y + size[1], x : x + size[0]] = image
    return canvas


Colour = tuple[int, int, int]


def _athletes(clip: Clip) -> list[tuple[str, Colour]]:
    names = [clip.bout.names.get(athlete) or f"athlete {athlete}" for athlete in ATHLETES]
    return list(zip(names, ATHLETE_COLOURS, strict=True))


def _caption(text: str, named: Sequence[tuple[str, Colour]], width: int, height: int) -> np.ndarray:
    """Return light text on black, the width of the picture, in as many lines as it needs.

    Names stand at its right end in their colours, on a line of their own where they don't fit.
    """
    size = max(12, round(height / 28))
    fonts = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    font = ImageFont.truetype(str(fonts / "DejaVuSans.ttf"), size)
    names = [(f"● {name}", colour) for name, colour in named]
    taken = sum(font.getlength(name) + size for name, _ in names)
    lines = _lines(text, font, width - 2 * size)
    if names and font.getlength(lines[-1]) + taken > width - 2 * size:
        lines.append("")
    band = Image.new("RGB", (width, round(size * (1.35 * len(lines) + 0.6))))
    draw = ImageDraw.Draw(band)
    for number, line in enumerate(lines):
        draw.text((size, size * (0.3 + 1.35 * number)), line, font=font, fill=(170, 170, 170))
    x, y = max(float(size), width - taken), size * (0.3 + 1.35 * (len(lines) - 1))
    for name, colour in names:
        draw.text((x, y), name, font=font, fill=tuple(round(0.67 * part) for part in colour))
        x += font.getlength(name) + size
    return np.asarray(band)


def _lines(text: str, font: ImageFont.FreeTypeFont, width: int) -> list[str]:
    lines = [""]
    for word in text.split():
        longer = f"{lines[-1]} {word}".strip()
        if lines[-1] and font.getlength(longer) > width:
            lines.append(word)
        else:
            lines[-1] = longer
    return lines


def _trace_strip(clip: Clip, features: pd.DataFrame, width: int, height: int) -> np.ndarray:
    strip = np.full((height, width, 3), _PAPER, np.uint8)
    inside = features[(features.index >= clip.start_s) & (features.index <= clip.end_s)]
    shares = (inside.index.to_numpy() - clip.start_s) / (clip.end_s - clip.start_s)
    for column, colour in zip(_TRACES, ATHLETE_COLOURS, strict=True):
        heights = inside[column].to_numpy() if column in inside else np.full(len(inside), np.nan)
        x = shares * (width - 1)
        y = (1 - np.clip(heights / _TRACE_TOP, 0, 1)) * (height - 1)
        known = np.isfinite(y)
        for stretch in _stretches(known):
            points = np.stack([x[stretch], y[stretch]], 1).round().astype(np.int32)
            cv2.polylines(strip, [points], False, colour, max(2, height // 30), cv2.LINE_AA)
    for mark in clip.core or ():
        x_mark = round((mark - clip.start_s) / (clip.end_s - clip.start_s) * (width - 1))
        cv2.line(strip, (x_mark, 0), (x_mark, height), (180, 180, 180), 1)
    return strip


def _stretches(known: np.ndarray) -> list[slice]:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], known.astype(int), [0]])))
    return [slice(a, b) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _blurred_heads(image: np.ndarray, bodies: np.ndarray, radius: float) -> np.ndarray:
    """Hide both heads; everything, if one of them can't be told (better than showing a face)."""
    mask = np.zeros(image.shape[:2], np.uint8)
    for athlete in range(bodies.shape[1]):
        circles = [c for body in bodies[:, athlete] if (c := head_circle(body, radius))]
        if not circles:
            mask[:] = 1
        for x, y, r in circles:
            cv2.circle(mask, (round(x), round(y)), max(1, round(r)), 1, cv2.FILLED)
    return _hidden(image, mask, bodies)


def _blurred_outside(image: np.ndarray, bodies: np.ndarray) -> np.ndarray:
    points = bodies[..., :2].reshape(-1, 2)
    points = points[np.isfinite(points).all(1)]
    mask = np.ones(image.shape[:2], np.uint8)
    if len(points):
        low, high = points.min(0), points.max(0)
        pad = 0.12 * (high - low).max()
        corners = [(int(x), int(y)) for x, y in (low - pad, high + pad)]
        cv2.rectangle(mask, corners[0], corners[1], 0, cv2.FILLED)
    return _hidden(image, mask, bodies)


def _hidden(image: np.ndarray, mask: np.ndarray, bodies: np.ndarray) -> np.ndarray:
    """Return the picture with coarse blocks where the mask is 1: unlike a blur, not undone."""
    height, width = image.shape[:2]
    block = max(8, round(max(height, width) / 40))
    small = cv2.resize(image, (max(1, width // block), max(1, height // block)),
                       interpolation=cv2.INTER_AREA)  # fmt: skip
    coarse = cv2.resize(small, (width, height), interpolation=cv2.INTER_LINEAR)
    return np.where(mask[..., None] == 1, coarse, image)
