"""Bouts that the review tests make: a real H.264 file, a real library, an invented reading."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pandas as pd

from pipeline.library import Bout, Library
from pipeline.timeline import Moment, Segment, Timeline

SIZE = (320, 180)
RATE = 25
CLOTHING = ((230, 230, 240), (40, 50, 90))
SEGMENTS = (
    (0.0, 3.0, "standing", None, 0.97),
    (3.0, 4.6, "takedown", "A", 0.61),
    (4.6, 9.0, "closed_guard", "A", 0.92),
    (9.0, 12.4, "half_guard", "A", 0.55),
    (12.4, 16.0, "side_control", "A", 0.95),
    (16.0, 20.0, "mount", "A", 0.9),
)


def write_video(path: Path, duration_s: float = 20.0, rate: int = RATE, enlarged: int = 1) -> Path:
    """Write an H.264 MP4 in which two blocks move: A light and left, B dark and right."""
    width, height = SIZE
    with av.open(str(path), "w", options={"movflags": "faststart"}) as container:
        stream = container.add_stream("libx264", rate=rate)
        stream.width, stream.height = width * enlarged, height * enlarged
        stream.pix_fmt = "yuv420p"
        stream.options = {"preset": "ultrafast", "g": str(rate)}
        for number in range(round(duration_s * rate)):
            picture = np.full((height, width, 3), (70, 90, 70), np.uint8)
            for box, colour in zip(
                boxes(number / rate), ((230, 230, 240), (40, 50, 90)), strict=True
            ):
                x, y, w, h = box
                picture[y : y + h, x : x + w] = colour
            picture = picture.repeat(enlarged, axis=0).repeat(enlarged, axis=1)
            frame = av.VideoFrame.from_ndarray(picture, "rgb24")
            frame.pts, frame.time_base = number, Fraction(1, rate)
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
    return path


def boxes(time_s: float) -> tuple[tuple[int, int, int, int], ...]:
    """Return x, y, width and height of athletes A and B at a time."""
    sway = round(12 * np.sin(time_s))
    if time_s < 3:
        return (90 + sway, 50, 36, 110), (190 - sway, 50, 36, 110)
    return (120 + sway, 90, 90, 36), (115, 126, 100, 34)


def keypoints(times: np.ndarray) -> np.ndarray:
    """Return skeletons that stand or lie in the boxes, (T, 2, 17, 3)."""
    # Places in a standing body's box (across, down), COCO order.
    across = [
        .5, .55, .45, .6, .4, .85, .15, .95, .05, .95, .05, .7, .3, .75, .25, .75, .25
    ]  # fmt: skip
    down = [
        .06, .04, .04, .05, .05, .2, .2, .38, .38, .52, .52, .52, .52, .75, .75, .97, .97
    ]  # fmt: skip
    points = np.zeros((len(times), 2, 17, 3), np.float32)
    points[..., 2] = 0.9
    for i, time_s in enumerate(times):
        for body, (x, y, w, h) in enumerate(boxes(float(time_s))):
            along, over = (down, across) if w > h else (across, down)
            points[i, body, :, 0] = x + w * np.array(along)
            points[i, body, :, 1] = y + h * np.array(over)
    return points


def add_bout(
    library: Library,
    footage: Path,
    segments: tuple[tuple, ...] = SEGMENTS,
    moments: tuple[Moment, ...] = (),
    **details: object,
) -> Bout:
    """Add a bout with a reading: samples at 5 a second and the given proposal."""
    duration_s = float(segments[-1][1])
    times = np.arange(0, duration_s, 0.2)
    rows = tuple(
        Segment(start, end, position, top, confidence, id=f"s{number:04d}")
        for number, (start, end, position, top, confidence) in enumerate(segments)
    )
    bout = library.add_bout(footage, duration_s, **details)  # type: ignore[arg-type]
    points = keypoints(times)
    feet = points[..., 1].max(axis=(1, 2))
    heights = (feet[:, None] - points[:, :, [11, 12], 1].mean(axis=2)) / 40
    index = pd.Index(times, name="time_s")
    library.save_reading(
        bout.id,
        times,
        points,
        pd.DataFrame(heights, index=index, columns=["a_hip_height", "b_hip_height"]),
        probabilities(times, rows),
        Timeline(rows, moments),
        reader="invented",
    )
    return library.bout(bout.id)


def probabilities(times: np.ndarray, segments: tuple[Segment, ...]) -> pd.DataFrame:
    """Return each sample's segment confidence, the rest shared by two other columns."""
    kinds = sorted({s.position for s in segments} | {"standing", "apart"})
    table = pd.DataFrame(0.0, index=pd.Index(times, name="time_s"), columns=kinds)
    for segment in segments:
        inside = (times >= segment.start_s) & (times < segment.end_s)
        table.loc[inside, :] = (1 - segment.confidence) / (len(kinds) - 1)
        table.loc[inside, segment.position] = segment.confidence
    return table


MOMENTS = (
    Moment(3.2, 4.0, 4.6, "takedown", "A", confidence=0.7, id="m-takedown"),
    Moment(7.0, 7.4, 7.8, "rise", "B", 0.31, confidence=0.8, id="m-rise"),
    Moment(11.8, 12.4, 12.6, "guard_pass", "A", confidence=0.6, id="m-pass"),
)
