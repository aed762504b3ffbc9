"""A file in pieces of at most a minute: what is lost when the machine stops is one piece."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace

from pipeline.athletes import People
from pipeline.bodies import BodyReader, RegionTracker, mat_of
from pipeline.footage import Footage, Frame, Gap
from pipeline.settings import Settings


@dataclass(frozen=True, order=True)
class Chunk:
    """A stretch ``[start_s, end_s)`` of a file; the last one's end is infinite.

    Durations in headers are often a little wrong, so the last chunk takes whatever is there.
    """

    start_s: float
    end_s: float


@dataclass(frozen=True)
class ChunkReading:
    """What was seen in one chunk: people sample by sample, and stretches without pictures."""

    people: tuple[People, ...]
    gaps: tuple[Gap, ...] = ()


def chunks(duration_s: float, key_times: Sequence[float], longest_s: float) -> list[Chunk]:
    """Cut a file at its key frames, so that no chunk decodes what another one owns.

    Parameters
    ----------
    duration_s : float
    key_times : sequence of float
        Where decoding can start, ascending.
    longest_s : float
        No chunk is longer, also where key frames are further apart.
    """
    borders = [0.0]
    while duration_s - borders[-1] > longest_s:
        latest = borders[-1] + longest_s
        key = key_times[i - 1] if (i := bisect_right(key_times, latest)) else 0.0
        borders.append(key if key > borders[-1] else latest)
    ends = [*borders[1:], math.inf]
    return [Chunk(start, end) for start, end in zip(borders, ends, strict=True)]


def read_chunk(
    footage: Footage, chunk: Chunk, reader: BodyReader, settings: Settings
) -> ChunkReading:
    """Read the people of one chunk.

    The pair is looked for anew at the chunk's start, so that what is read depends on the chunk
    alone and not on what was read before it, on which machine, or in which order.
    """
    tracker, mat = RegionTracker(settings.bodies), mat_of(settings.bodies.mat)
    people = []
    for frame in footage.frames(
        start_s=chunk.start_s, end_s=chunk.end_s, max_side=settings.overnight.max_side
    ):
        look = tracker.read(reader, frame.image, mat and mat.scaled(frame.scale))
        found = People.from_look(frame.time_s, frame.image, look, settings.athletes)
        people.append(_in_source_pixels(found, frame))
    return ChunkReading(tuple(people), footage.gaps)


def _in_source_pixels(people: People, frame: Frame) -> People:
    if frame.scale == 1.0:
        return people
    return replace(
        people,
        keypoints=frame.to_source(people.keypoints),
        trunk=people.trunk / frame.scale,
    )
