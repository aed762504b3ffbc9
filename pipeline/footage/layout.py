"""Where in a file its pictures lie, from the packets and without decoding."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from av.container import InputContainer
from av.video.stream import VideoStream

from pipeline.footage.container import open_container, read_packets, video_stream
from pipeline.footage.info import FootageInfo
from pipeline.footage.placing import Placing
from pipeline.footage.sampling import Clock

_HOLE_S = 60.0
"""Seconds without a packet that part one run of pictures from the next."""

_INDEX_OFF_S = 1.0
"""An index that ends further from the length that the file states is not all of it."""

Picture = tuple[int, int, bool]
"""A picture's timestamp, how long it lasts, and whether decoding can start there."""


@dataclass(frozen=True)
class Layout:
    """Where the pictures of a file lie, in seconds, right to within their reordering.

    Attributes
    ----------
    key_times : tuple of float
        Where decoding can start cheaply, ascending from 0.
    runs : tuple of (float, float)
        Stretches with pictures, at least a minute apart, in order; the first begins at 0.
    """

    key_times: tuple[float, ...]
    runs: tuple[tuple[float, float], ...]

    @property
    def end_s(self) -> float:
        """End of the last picture."""
        return self.runs[-1][1]


def layout_of(info: FootageInfo) -> Layout:
    """Return where a file's pictures lie: from its index where that is whole, else its packets."""
    if not info.timed:
        return Layout((0.0,), ((0.0, info.duration_s),))
    with open_container(info.path) as container:
        stream = video_stream(container, info.path)
        indexed = _indexed(container, stream, info)
        if indexed is not None:
            return _laid_out(indexed, info)
    with open_container(info.path) as container:
        stream = video_stream(container, info.path)
        return _laid_out(_walked(container, stream, info), info)


def _indexed(
    container: InputContainer, stream: VideoStream, info: FootageInfo
) -> list[Picture] | None:
    """Return the pictures of the index; None if there is none, or the file holds other than it."""
    if "mov" not in info.container:
        return None
    entries = stream.index_entries
    count = len(entries)
    if count < 2 or entries[count - 1].pos + entries[count - 1].size > info.size_bytes:
        return None
    # This index holds decoding times; the first packet ties them to picture times.
    first = next(read_packets(container, stream, info.path), None)
    delay = (first.pts or 0) - (first.dts or 0) if first is not None else 0
    pictures = [(entry.timestamp + delay, 0, entry.is_keyframe) for entry in entries]
    last, _, is_key = pictures[-1]
    lasts_s = info.stated_s - Clock(info).seconds(last)
    if abs(lasts_s) > _INDEX_OFF_S:
        return None
    return [*pictures[:-1], (last, round(lasts_s / info.time_base), is_key)]


def _walked(container: InputContainer, stream: VideoStream, info: FootageInfo) -> Iterator[Picture]:
    for packet in read_packets(container, stream, info.path):
        if packet.pts is not None and packet.size:
            yield packet.pts, packet.duration or 0, packet.is_keyframe


def _laid_out(pictures: Iterable[Picture], info: FootageInfo) -> Layout:
    clock, placing = Clock(info), Placing()
    unit_s = float(info.time_base)  # exact fractions, for hundreds of thousands, take a second
    keys: set[float] = set()
    runs: list[tuple[float, float]] = []
    start_s = 0.0
    for pts, lasts, is_key in pictures:
        time_s, before_s = (pts - info.first_pts) * unit_s, placing.end_s
        if time_s < 0 or not placing.place(time_s, lasts * unit_s):
            continue
        if is_key:
            keys.add(clock.seconds(pts))
        if time_s - before_s > _HOLE_S:
            runs.append((start_s, before_s))
            start_s = clock.seconds(pts)
    runs.append((start_s, placing.end_s))
    return Layout((0.0, *sorted(keys - {0.0})), tuple(runs))
