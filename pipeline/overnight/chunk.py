"""A file in pieces of at most a minute: what is lost when the machine stops is one piece."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from pipeline.athletes import People
from pipeline.bodies import BodyReader, Region, RegionTracker, mat_of
from pipeline.footage import Footage, Frame, Gap
from pipeline.footage.ahead import ahead
from pipeline.overnight.both_ways import look_back
from pipeline.settings import Settings

BACK_S = 1.0
"""Seconds of pictures held at once while the pair is followed backwards."""


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


def chunks(
    end_s: float, key_times: Sequence[float], longest_s: float, start_s: float = 0.0
) -> list[Chunk]:
    """Cut a run of pictures at its key frames, so that no chunk decodes what another one owns.

    The chunks are about equally long and, but for the shortest files, even in number: the two
    cores of a small machine then finish a file together.

    Parameters
    ----------
    end_s : float
        End of the last picture.
    key_times : sequence of float
        Where decoding can start, ascending.
    longest_s : float
        No chunk is longer, also where key frames are further apart.
    start_s : float
        Time of the first picture.
    """
    duration_s = end_s - start_s
    count = 1 if duration_s <= longest_s / 3 else 2 * math.ceil(duration_s / (2 * longest_s))
    borders = [start_s]
    while len(borders) < count or end_s - borders[-1] > longest_s:
        last = borders[-1]
        to_come = max(1, count - len(borders) + 1)
        best_s = last + min(longest_s, (end_s - last) / to_come)
        last_s = min(last + longest_s, math.nextafter(end_s, 0))
        borders.append(_nearest(key_times, best_s, last, last_s))
    ends = [*borders[1:], math.inf]
    return [Chunk(start, end) for start, end in zip(borders, ends, strict=True)]


def _nearest(key_times: Sequence[float], to_s: float, after_s: float, last_s: float) -> float:
    """Return the key time nearest to a time, after one and up to another; the time if none is."""
    near = bisect_right(key_times, to_s)
    keys = [key for key in key_times[max(near - 2, 0) : near + 1] if after_s < key <= last_s]
    return min(keys, key=lambda key: abs(key - to_s), default=to_s)


def read_chunk(
    footage: Footage, chunk: Chunk, reader: BodyReader, settings: Settings
) -> ChunkReading:
    """Read the people of one chunk.

    The pair is looked for anew at the chunk's start, so that what is read depends on the chunk
    alone and not on what was read before it, on which machine, or in which order.
    """
    frames = _frames(footage, chunk.start_s, chunk.end_s, settings)
    if footage.settings.decode_threads > 1:  # this program has more than one core to itself
        frames = ahead(frames)
    people = list(_people(frames, RegionTracker(settings.bodies), reader, settings))
    # A handle of its own: what is decoded again leaves no gap twice.
    again = Footage(footage.info, footage.settings)

    def reread(start_s: float, end_s: float, region: Region) -> Iterator[People]:
        tracker = RegionTracker(settings.bodies)
        while end_s > start_s:
            part_s = max(start_s, end_s - BACK_S)
            frames = list(_frames(again, part_s, end_s, settings))
            if tracker.region is None and frames:
                tracker.region = _scaled(region, frames[-1].scale)
            yield from _people(reversed(frames), tracker, reader, settings)
            end_s = part_s

    return ChunkReading(tuple(look_back(people, reread)), footage.gaps)


def _frames(footage: Footage, start_s: float, end_s: float, settings: Settings) -> Iterator[Frame]:
    side = settings.overnight.max_side
    return footage.frames(start_s=start_s, end_s=end_s, max_side=side, rough=True)


def _people(
    frames: Iterable[Frame], tracker: RegionTracker, reader: BodyReader, settings: Settings
) -> Iterator[People]:
    mat = mat_of(settings.bodies.mat)
    for frame in frames:
        look = tracker.read(reader, frame.image, mat and mat.scaled(frame.scale))
        found = People.from_look(frame.time_s, frame.image, look, settings.athletes)
        yield _in_source_pixels(found, frame)


def _scaled(region: Region, scale: float) -> Region:
    return Region(region.x0 * scale, region.y0 * scale, region.x1 * scale, region.y1 * scale)


def _in_source_pixels(people: People, frame: Frame) -> People:
    if frame.scale == 1.0:
        return people
    return replace(
        people,
        keypoints=frame.to_source(people.keypoints),
        trunk=people.trunk / frame.scale,
    )
