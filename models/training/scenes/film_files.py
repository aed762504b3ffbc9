"""Films on disk: an H.264 file, and the truth beside it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import av
import numpy as np

from pipeline.bodies import Body
from pipeline.library import written_whole
from pipeline.outputs.coco import Picture as Skeletons
from pipeline.outputs.coco import write_coco
from pipeline.outputs.tabular import moments_to_csv, segments_to_csv

from .bouts import Bout
from .film import SIZE
from .picture import Picture
from .truth import HIDDEN, OUTSIDE

QUALITY = 24
"""x264's constant rate factor: a 30 s clip of 640 × 360 stays well under 3 MB."""

TRUTH_HZ = 5.0
"""True skeletons are kept no more often than footage is read."""


def write_film(
    pictures: Iterator[Picture],
    path: Path,
    rate_hz: float,
    say: Callable[[int], None] = lambda done: None,
) -> list[Picture]:
    """Encode pictures as H.264 in MP4, atomically; return their truth, pictures left out."""
    truth = []
    options = {"movflags": "faststart"}
    with (
        written_whole(path) as part,
        av.open(str(part), "w", format="mp4", options=options) as container,
    ):
        stream = container.add_stream("libx264", rate=Fraction(rate_hz).limit_denominator(1000))
        stream.width, stream.height = SIZE
        stream.pix_fmt = "yuv420p"
        stream.options = {"crf": str(QUALITY), "preset": "slow"}
        for done, picture in enumerate(pictures, 1):
            frame = av.VideoFrame.from_ndarray(np.ascontiguousarray(picture.rgb), "rgb24")
            container.mux(stream.encode(frame))
            truth.append(replace(picture, rgb=picture.rgb[:0], mask=picture.mask[:0]))
            say(done)
        container.mux(stream.encode(None))
    return truth


def write_truth(bout: Bout, stem: Path) -> None:
    """Write the true segments and moments as CSV, as exports have them."""
    for suffix, text in (
        (".csv", segments_to_csv(bout.timeline.segments)),
        (".moments.csv", moments_to_csv(bout.timeline.moments)),
    ):
        with written_whole(stem.with_name(stem.name + suffix)) as part:
            part.write_text(text, encoding="utf-8", newline="")


def write_skeletons(bout: Bout, truth: Sequence[Picture], rate_hz: float, film: Path) -> Path:
    """Write the true skeletons of a film as COCO keypoint JSON, A's before B's.

    Parameters
    ----------
    bout : Bout
    truth : sequence of Picture
        One for each sample of the bout; those nearest to `TRUTH_HZ` a second are written.
    rate_hz : float
    film : Path

    Returns
    -------
    Path
        Of the file, beside the film.
    """
    kept = np.unique(np.rint(np.arange(0, len(truth), rate_hz / TRUTH_HZ)).astype(int))
    pictures = [
        Skeletons(f"{film.name}#{n}", *SIZE, _skeletons(truth[n]), float(bout.times[n]))
        for n in kept[kept < len(truth)]
    ]
    path = film.with_suffix(".keypoints.json")
    write_coco(pictures, path)
    return path


def _skeletons(picture: Picture) -> tuple[Body, ...]:
    bodies = []
    for place, visible in zip(picture.keypoints, picture.visible, strict=True):
        points = np.column_stack([place, np.ones(len(place), np.float32)])
        points[visible == OUTSIDE] = (np.nan, np.nan, 0)
        bodies.append(Body(points, 1.0, visible == HIDDEN))
    return tuple(bodies)
