"""Clips → MP4 files: one reel with chapters, or a file a clip."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import av
import numpy as np
import pandas as pd
from av.video.frame import VideoFrame

from pipeline.errors import MatlineError
from pipeline.footage import Footage
from pipeline.library import Library, written_whole
from pipeline.outputs.clips.choose import Clip
from pipeline.outputs.clips.pace import Pace, paced
from pipeline.outputs.clips.painter import Look, Painter, strip_height
from pipeline.outputs.text import file_stem
from pipeline.settings import ClipsSettings

TICKS = 90_000
"""Ticks a second of the reel's timestamps, the customary video clock (ISO/IEC 13818-1)."""

Progress = Callable[[float, float], None]


def write_reel(
    library: Library,
    clips: Sequence[Clip],
    path: Path,
    look: Look | None = None,
    settings: ClipsSettings | None = None,
    progress: Progress | None = None,
) -> Path:
    """Write clips one after the other as one MP4 (H.264), a chapter a clip; without sound.

    Every picture of the footage within a clip is in it exactly once, at its own time from the
    clip's beginning (to 1/90000 s), slowed where asked for; a picture that stands still is
    repeated.

    Parameters
    ----------
    library : Library
        For skeletons and trace.
    clips : sequence of Clip
    path : Path
        Ends in ``.mp4``; appears only when it is whole.
    look : Look, optional
    settings : ClipsSettings, optional
    progress : callable, optional
        Called with seconds of the reel done and in all.

    Raises
    ------
    MatlineError
        If there is no clip, a setting makes no sense, a footage file is missing or the file can't
        be written.
    """
    look, settings = look or Look(), settings or ClipsSettings()
    _check(clips, settings)
    paces = [Pace.of(clip, settings) for clip in clips]
    starts = np.cumsum([0.0, *(pace.length_s for pace in paces)])
    footages = {clip.bout.footage: Footage.open(clip.bout.footage) for clip in clips}
    size = _common_size(list(footages.values()), settings)
    tell = progress or (lambda done, whole: None)
    whole = size[0], size[1] + (strip_height(size[1], settings) if look.trace else 0)
    with written_whole(path) as part, _Film(part, whole, settings) as film:
        film.chapters(list(zip(pairwise(starts), (c.caption for c in clips), strict=True)))
        for clip, pace, start_s in zip(clips, paces, starts[:-1], strict=True):
            painter = _painter(library, clip, look, size, settings)
            footage = footages[clip.bout.footage]
            for shown_s, image in _pictures(footage, painter, pace, settings):
                film.append(start_s + shown_s, image)
                tell(start_s + shown_s, starts[-1])
        film.end(starts[-1])
    return path


def write_files(
    library: Library,
    clips: Sequence[Clip],
    folder: Path,
    look: Look | None = None,
    settings: ClipsSettings | None = None,
    progress: Progress | None = None,
) -> list[Path]:
    """Write a file a clip, named by number, bout, clock and what is seen; see `write_reel`."""
    paths = []
    for number, clip in enumerate(clips, start=1):
        name = file_stem(f"{number:03d} {clip.when} {clip.what}", clip.bout.id)
        path = folder / f"{name}.mp4"
        paths.append(write_reel(library, [clip], path, look, settings))
        if progress:
            progress(number, len(clips))
    return paths


class _Film:
    """An MP4 being written: pictures go in by time, and last until the next."""

    def __init__(self, path: Path, size: tuple[int, int], settings: ClipsSettings) -> None:
        options = {"movflags": "+faststart"}
        self._container = av.open(f"file:{path.absolute()}", "w", format="mp4", options=options)
        stream = self._container.add_stream("libx264", rate=30)
        stream.width, stream.height = size
        stream.pix_fmt = "yuv420p"
        stream.time_base = stream.codec_context.time_base = Fraction(1, TICKS)
        stream.options = {"preset": "veryfast", "crf": str(settings.crf), "g": "60", "bf": "0"}
        self._stream = stream
        self._waiting: tuple[int, np.ndarray] | None = None
        self._lasting: dict[int, int] = {}

    def __enter__(self) -> _Film:
        return self

    def __exit__(self, *error: object) -> None:
        self._container.close()

    def chapters(self, named: Sequence[tuple[tuple[float, float], str]]) -> None:
        """Name stretches of the film; before the first picture."""
        self._container.set_chapters(
            [
                {
                    "id": number,
                    "start": round(start_s * TICKS),
                    "end": round(end_s * TICKS),
                    "time_base": Fraction(1, TICKS),
                    "metadata": {"title": title},
                }
                for number, ((start_s, end_s), title) in enumerate(named)
            ]
        )

    def append(self, time_s: float, image: np.ndarray) -> None:
        """Add a picture, RGB, of the film's size; later than the one before."""
        tick = round(time_s * TICKS)
        if self._waiting is not None:
            tick = max(tick, self._waiting[0] + 1)
            self._encode(tick)
        self._waiting = tick, image

    def end(self, time_s: float) -> None:
        """Say when the last picture ends, and write what is left."""
        if self._waiting is not None:
            self._encode(max(round(time_s * TICKS), self._waiting[0] + 1))
        self._mux(None)

    def _encode(self, next_tick: int) -> None:
        assert self._waiting is not None
        tick, image = self._waiting
        self._lasting[tick] = next_tick - tick
        frame = VideoFrame.from_ndarray(image, "rgb24").reformat(format="yuv420p")
        frame.pts, frame.time_base = tick, Fraction(1, TICKS)
        self._mux(frame)

    def _mux(self, frame: VideoFrame | None) -> None:
        for packet in self._stream.encode(frame):
            if packet.pts is not None:
                packet.duration = self._lasting.pop(packet.pts, 0)
            self._container.mux(packet)


def _pictures(
    footage: Footage, painter: Painter, pace: Pace, settings: ClipsSettings
) -> Iterator[tuple[float, np.ndarray]]:
    clip = pace.clip
    frames = footage.frames(math.inf, clip.start_s, clip.end_s, settings.max_side)
    painted = (
        (frame.time_s, painter.paint(frame.image, frame.time_s, frame.scale)) for frame in frames
    )
    empty = True
    for shown_s, _, image in paced(painted, pace, settings.still_every_s):
        empty = False
        yield shown_s, image
    if empty:
        raise MatlineError(
            f"{clip.bout.footage} has no pictures from {clip.start_s:.1f} to {clip.end_s:.1f} s; "
            "it may have been cut since it was read."
        )


def _painter(
    library: Library, clip: Clip, look: Look, size: tuple[int, int], settings: ClipsSettings
) -> Painter:
    times, keypoints = np.empty(0), np.empty((0, 2, 17, 3), np.float32)
    if look.needs_keypoints:
        times, keypoints = library.keypoints(clip.bout.id)
    features = library.features(clip.bout.id) if look.trace else pd.DataFrame()
    return Painter(clip, look, size, times, keypoints, features, settings)


def _common_size(footages: Sequence[Footage], settings: ClipsSettings) -> tuple[int, int]:
    """Return even sides that hold the largest picture; H.264 in 4:2:0 needs them even."""
    sizes = []
    for info in (footage.info for footage in footages):
        scale = min(1.0, settings.max_side / max(info.width, info.height))
        sizes.append((info.width * scale, info.height * scale))
    width, height = (max(2, round(max(side) / 2) * 2) for side in zip(*sizes, strict=True))
    return width, height


def _check(clips: Sequence[Clip], settings: ClipsSettings) -> None:
    if not clips:
        raise MatlineError("There is nothing to show: choose at least one clip.")
    if not 0.05 <= settings.speed <= 8:
        raise MatlineError(f"A speed of {settings.speed} can't be shown; use 0.05 to 8.")
    if not 0 <= settings.freeze_s <= 60:
        raise MatlineError(f"Can't stand still for {settings.freeze_s} s; use 0 to 60.")
