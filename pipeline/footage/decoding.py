"""Decoding a stretch of a file: where to start, what to skip, what not to trust."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from heapq import heappop, heappush
from itertools import chain
from operator import sub

import av
from av.container import InputContainer
from av.packet import Packet
from av.video.frame import VideoFrame
from av.video.stream import VideoStream

from pipeline.footage.container import open_container, read_packets, video_stream
from pipeline.footage.gaps import Gap
from pipeline.footage.info import FootageInfo
from pipeline.footage.sampling import Clock, Instants, Span, needed, plan, plan_nothing
from pipeline.footage.watch import Watch
from pipeline.settings import FootageSettings

_LEADS_S = (0.0, 5.0, 30.0)
"""How much earlier to try when a start proves too late (a seek past it, a gradual refresh)."""
_LONGEST_LOOK_BACK_S = 10.0
_MOST_HELD_BYTES = 64 << 20


@dataclass(frozen=True)
class Picture:
    """A decoded picture and its time."""

    time_s: float
    frame: VideoFrame


class _TooLate(Exception):
    """Decoding began after the start that was asked for."""


class Decoding:
    """Iterates over the samples of a span; `gaps` is complete when the iteration ends."""

    def __init__(
        self, info: FootageInfo, settings: FootageSettings, span: Span, rough: bool = False
    ) -> None:
        self._info, self._settings, self._span, self._rough = info, settings, span, rough
        self.gaps: list[Gap] = []

    def __iter__(self) -> Iterator[Picture]:
        for lead_s in self._leads():
            started = False
            try:
                for picture in self._attempt(lead_s, strict=lead_s != _LEADS_S[-1]):
                    started = True
                    yield picture
                return
            except _TooLate:
                assert not started  # only ever raised before the first picture

    def _leads(self) -> tuple[float | None, ...]:
        if self._span.start_s <= 0 or not self._info.seekable:
            return (None,)
        return (*_LEADS_S, None)

    def _attempt(self, lead_s: float | None, strict: bool) -> Iterator[Picture]:
        """Decode from `lead_s` before the start, or from the head of the file if None."""
        self.gaps = []
        clock = Clock(self._info)
        with open_container(self._info.path) as container:
            stream = video_stream(container, self._info.path)
            stream.thread_type = "AUTO"
            stream.codec_context.thread_count = self._settings.decode_threads
            if self._rough and _bears_roughness(self._info, stream, self._settings):
                stream.codec_context.options = {"skip_loop_filter": "nokey"}
            packets = read_packets(container, stream, self._info.path)
            before = None
            if lead_s is not None:
                packets, before = self._approach(container, stream, clock, lead_s)
            previous_s = None if before is None else clock.seconds(before)
            watch = Watch(self._info, self._settings, self._span, previous_s)
            try:
                yield from self._decode(
                    packets, stream, clock, before, watch, strict and lead_s is not None
                )
            finally:
                self.gaps = watch.gaps

    def _approach(
        self, container: InputContainer, stream: VideoStream, clock: Clock, lead_s: float
    ) -> tuple[Iterator[Packet], int | None]:
        """Seek, then drop packets up to the last key frame at or before the place to begin.

        Returns the packets to decode, and the timestamp of the picture just before that place,
        which is what decides whether the first one is a sample.
        """
        begin_s = self._span.start_s - lead_s
        begin = clock.pts(begin_s)
        earliest = clock.pts(begin_s - min(1 / self._span.rate_hz, _LONGEST_LOOK_BACK_S))
        try:
            container.seek(earliest, stream=stream)
        except (av.error.FFmpegError, OSError) as error:
            raise _TooLate from error
        packets = read_packets(container, stream, self._info.path)
        held: list[Packet] = []
        held_bytes = 0
        before: int | None = None
        for packet in packets:
            if packet.pts is None or packet.dts is None:
                if packet.size:  # untimed packets in a timed file: only the head is a safe start
                    raise _TooLate
                held.append(packet)
                break
            if before is None and not held and packet.pts > max(earliest, self._info.first_pts):
                raise _TooLate  # pictures before this one may have been passed over
            if clock.seconds(packet.pts) < begin_s:
                before = packet.pts if before is None else max(before, packet.pts)
            if packet.is_keyframe and packet.pts <= begin:
                held, held_bytes = [], 0
            elif not held:
                if packet.is_keyframe:
                    raise _TooLate
                continue
            held.append(packet)
            held_bytes += packet.size
            if packet.dts > begin or held_bytes > _MOST_HELD_BYTES:
                break
        if not held:
            raise _TooLate
        return chain(held, packets), before

    def _decode(
        self,
        packets: Iterator[Packet],
        stream: VideoStream,
        clock: Clock,
        before: int | None,
        watch: Watch,
        strict: bool,
    ) -> Iterator[Picture]:
        instants = Instants(self._span, clock, before)
        context = stream.codec_context
        left_out: list[float] = []  # a heap of times
        count = 0
        if self._info.timed:
            judged = plan(packets, self._span, clock, before)
            todo = needed(judged, clock, self._span.end_s)
        else:
            todo = plan_nothing(packets)
        for planned in todo:
            packet = planned.packet
            if packet.pts is not None and packet.size:
                watch.met(clock.seconds(packet.pts))
            if planned.left_out:
                heappush(left_out, clock.seconds(packet.pts or 0))
                continue
            if planned.wanted and packet.pts is not None:
                instants.expect(packet.pts)
            # Pictures that nothing refers to and nobody wants need no decoding.
            context.skip_frame = "NONREF" if planned.wanted is False else "DEFAULT"
            if packet.is_corrupt:
                watch.damaged_at(packet.pts)
            try:
                frames = packet.decode()
            except av.error.FFmpegError:
                watch.damaged()
                continue
            for frame in frames:
                time_s = self._time(frame, clock, count)
                count += 1
                if watch.strays(time_s):
                    continue
                began = time_s >= self._span.start_s
                if strict and began and not watch.hurt and instants.passed_over(frame.pts):
                    raise _TooLate  # nothing is damaged: a gradual refresh was not complete yet
                strict = strict and not began
                while left_out and left_out[0] < time_s:
                    watch.passed(heappop(left_out))
                good = watch.saw(time_s, frame)
                if time_s >= self._span.end_s:
                    watch.left()
                    return
                if good is not None and instants.take(time_s, frame.pts) and good and began:
                    yield Picture(time_s, frame)
        watch.ended()

    def _time(self, frame: VideoFrame, clock: Clock, count: int) -> float:
        if not self._info.timed:
            return float(count / self._info.counting_rate)
        return clock.seconds(frame.pts) if frame.pts is not None else math.nan


def _bears_roughness(info: FootageInfo, stream: VideoStream, settings: FootageSettings) -> bool:
    """Whether block edges need no smoothing for reading.

    Pictures must be large, and key frames near each other by an index that is whole once a file is
    open, which only MP4 and MOV have.
    """
    if not settings.rough_side or max(info.width, info.height) < settings.rough_side:
        return False
    if info.codec not in ("h264", "hevc") or "mov" not in info.container:
        return False
    keys = [entry.timestamp for entry in stream.index_entries if entry.is_keyframe]
    longest = max(map(sub, keys[1:], keys), default=None)
    return longest is not None and longest * info.time_base <= settings.rough_keys_s
