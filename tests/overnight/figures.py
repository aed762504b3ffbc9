"""A video of two coloured figures, and a reader that finds them by colour: quick and exact."""

import os
import signal
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pandas as pd

from pipeline.bodies import Body, Look, Region
from pipeline.positions.states import STATES

STICK = np.array(
    [
        (0, -20), (-1, -21), (1, -21), (-2, -20), (2, -20), (-4, -15), (4, -15), (-5, -9), (5, -9),
        (-5, -4), (5, -4), (-3, -5), (3, -5), (-3, 3), (3, 3), (-3, 10), (3, 10),
    ],
    dtype=np.float32,
)  # fmt: skip
"""A standing figure in COCO order, pixels around its middle."""

COLOURS = ((220, 40, 40), (40, 60, 220))


def make_clip(
    path: Path,
    seconds: float,
    rate: int = 10,
    key_every: int = 20,
    poisoned: bool = False,
    empty: tuple[float, float] = (0, 0),
) -> Path:
    """Write a video in which a red and a blue block move about, but for an empty stretch."""
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=rate)
        stream.width, stream.height, stream.pix_fmt = 160, 96, "yuv420p"
        stream.codec_context.time_base = Fraction(1, rate)
        stream.options = {"g": str(key_every), "preset": "ultrafast", "crf": "18"}
        for number in range(round(seconds * rate)):
            image = picture(number / rate)
            image[:16, :16] = 255 if poisoned else 120
            if empty[0] <= number / rate < empty[1]:
                image[:] = 120
            frame = av.VideoFrame.from_ndarray(image, format="rgb24")
            frame.pts = number
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
    return path


def picture(time_s: float) -> np.ndarray:
    """Draw the two blocks at a time."""
    image = np.full((96, 160, 3), 120, np.uint8)
    for i, colour in enumerate(COLOURS):
        x = 50 + 50 * i + round(10 * np.sin(time_s / 3 + i))
        y = 48 + round(8 * np.sin(time_s / 2 - i))
        image[y - 14 : y + 14, x - 8 : x + 8] = colour
    return image


class FigureReader:
    """Finds the two blocks; its answer depends on the picture and the region alone."""

    name = "figures"
    version = "1"

    def read(self, image: np.ndarray, region: Region | None = None, mat: object = None) -> Look:
        """Return a stick figure on each block."""
        red = image[..., 0].astype(int) - image[..., 2]
        bodies = [_body(mask) for mask in (red > 90, red < -90) if mask.any()]
        xs = [p for body in bodies for p in body.keypoints[:, 0]]
        ys = [p for body in bodies for p in body.keypoints[:, 1]]
        box = Region(min(xs), min(ys), max(xs), max(ys)) if bodies else None
        return Look(tuple(bodies), box)


class PoisonedReader(FigureReader):
    """Ends its program, as a fault in a native library would, on a picture with a white corner."""

    def read(self, image: np.ndarray, region: Region | None = None, mat: object = None) -> Look:
        """Die, or read."""
        if image[:8, :8].min() > 230:
            os.kill(os.getpid(), signal.SIGSEGV)
        return super().read(image, region)


class UndecidedModel:
    """Stands for the position model, which takes seconds to load and to ask."""

    def predict(self, features: pd.DataFrame, *_: object) -> pd.DataFrame:
        """Call every position equally likely."""
        return pd.DataFrame(1 / len(STATES), index=features.index, columns=list(STATES))


def _body(mask: np.ndarray) -> Body:
    rows, columns = np.nonzero(mask)
    keypoints = np.ones((17, 3), np.float32)
    keypoints[:, :2] = STICK + np.array([columns.mean(), rows.mean()])
    return Body(keypoints, 0.9)
