"""Which pictures are samples: times, instants, and what must be decoded for them."""

from __future__ import annotations

import math
from bisect import bisect_left, insort
from collections import deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from heapq import heappop, heappush

from av.packet import Packet

from pipeline.footage.info import FootageInfo
from pipeline.footage.units import starts_anew

_ROUNDING_S = 1e-6
_REORDERING_PACKETS = 64  # no codec in use reorders further than 16 pictures
_MOST_HELD_PACKETS = 120  # half a second of the quickest cameras; bounds the memory


@dataclass(frozen=True)
class Span:
    """What is asked of a file: the stretch ``[start_s, end_s)`` at `rate_hz` samples a second."""

    start_s: float = 0.0
    end_s: float = math.inf
    rate_hz: float = math.inf

    def instant(self, time_s: float) -> float:
        """Return k of the last instant ``k / rate_hz`` at or before a time.

        At an infinite rate every time is an instant of its own.
        """
        if math.isinf(self.rate_hz):
            return time_s
        return math.floor((time_s + _ROUNDING_S) * self.rate_hz)


class Clock:
    """Turns container timestamps into seconds from the first picture, and back."""

    def __init__(self, info: FootageInfo) -> None:
        self._first: int = info.first_pts
        self._unit: Fraction = info.time_base

    def seconds(self, pts: int) -> float:
        """Return the time of a timestamp."""
        return float((pts - self._first) * self._unit)

    def pts(self, time_s: float) -> int:
        """Return the last timestamp at or before a time."""
        return self._first + math.floor(Fraction(time_s + _ROUNDING_S) / self._unit)


class Instants:
    """Remembers which instants have had their picture.

    A sample that is expected and never decoded still uses up its instant, so that a chunk which
    begins behind the damage agrees with one that began before it.
    """

    def __init__(self, span: Span, clock: Clock, before: int | None = None) -> None:
        self._span, self._clock = span, clock
        self._last = -math.inf if before is None else span.instant(clock.seconds(before))
        self._expected: list[int] = []  # a heap

    def expect(self, pts: int) -> None:
        """Note that the picture of this timestamp is a sample, once it is decoded."""
        heappush(self._expected, pts)

    def passed_over(self, pts: int | None) -> bool:
        """Whether an expected sample comes before a picture that has been decoded."""
        return pts is not None and bool(self._expected) and self._expected[0] < pts

    def take(self, time_s: float, pts: int | None) -> bool:
        """Note a decoded picture; return whether it is the first at or after some instant."""
        while self.passed_over(pts):
            self._use(self._clock.seconds(heappop(self._expected)))
        if self._expected and self._expected[0] == pts:
            heappop(self._expected)
        return self._use(time_s)

    def _use(self, time_s: float) -> bool:
        instant = self._span.instant(time_s)
        first = instant > self._last
        self._last = max(self._last, instant)
        return first


@dataclass(frozen=True)
class Planned:
    """A packet, and what is known of its picture.

    Attributes
    ----------
    packet : Packet
    wanted : bool or None
        Whether the picture is a sample; None where its time is unknown.
    fresh : bool
        Whether no picture from here on needs one before.
    left_out : bool
        Whether it need not be decoded, since no sample needs it.
    """

    packet: Packet
    wanted: bool | None
    fresh: bool = False
    left_out: bool = False


def plan(
    packets: Iterable[Packet], span: Span, clock: Clock, before: int | None
) -> Iterator[Planned]:
    """Yield `Planned` packets in decoding order.

    A picture's predecessor is known once a packet's decoding time has passed the picture's own
    time, since no picture is decoded after it is shown; packets wait here until then.

    Parameters
    ----------
    packets : iterable of Packet
        In decoding order.
    span : Span
    clock : Clock
    before : int or None
        Timestamp of the picture before the first packet's, if there is one.
    """
    waiting: deque[Packet] = deque()
    shown: list[int] = [] if before is None else [before]
    for packet in packets:
        if packet.pts is None or packet.dts is None:
            yield from (_judge(p, shown, span, clock) for p in waiting)
            waiting.clear()
            yield Planned(packet, None)
            continue
        waiting.append(packet)
        insort(shown, packet.pts)
        while waiting and (waiting[0].pts or 0) <= packet.dts:
            judged = _judge(waiting.popleft(), shown, span, clock)
            yield replace(judged, fresh=_is_fresh(judged.packet, waiting))
        if len(waiting) > _REORDERING_PACKETS:
            yield _judge(waiting.popleft(), shown, span, clock)
        del shown[: -2 * _REORDERING_PACKETS]
    yield from (_judge(p, shown, span, clock) for p in waiting)


def needed(planned: Iterable[Planned], clock: Clock, end_s: float) -> Iterator[Planned]:
    """Mark packets between a sample and the next fresh start as left out: no sample needs them.

    Key frames of phones are a second apart and samples a fifth, so this is a sixth of all pictures.

    Parameters
    ----------
    planned : iterable of Planned
        In decoding order.
    clock : Clock
    end_s : float
        End of the stretch; packets from there on are not held back.
    """
    held: list[Planned] = []
    for one in planned:
        if one.fresh:
            held = [replace(other, left_out=True) for other in held]
        elif _may_be_left_out(one, clock, end_s) and len(held) < _MOST_HELD_PACKETS:
            held.append(one)
            continue
        yield from held
        held = []
        yield one
    yield from held


def _may_be_left_out(planned: Planned, clock: Clock, end_s: float) -> bool:
    packet = planned.packet
    if planned.wanted is not False or packet.is_corrupt or packet.pts is None:
        return False
    return clock.seconds(packet.pts) < end_s


def _is_fresh(packet: Packet, behind: Iterable[Packet]) -> bool:
    """Whether decoding could start here and nothing shown later would be missed.

    Parameters
    ----------
    packet : Packet
    behind : iterable of Packet
        At least those up to the first one decoded after the picture is shown.
    """
    pts = packet.pts or 0
    if not packet.is_keyframe or any((other.pts or 0) < pts for other in behind):
        return False
    return starts_anew(packet)


def plan_nothing(packets: Iterable[Packet]) -> Iterator[Planned]:
    """Yield packets of a file without usable times, so that every picture is decoded."""
    return (Planned(packet, None) for packet in packets)


def _judge(packet: Packet, shown: list[int], span: Span, clock: Clock) -> Planned:
    assert packet.pts is not None
    time_s = clock.seconds(packet.pts)
    if time_s >= span.end_s:
        return Planned(packet, False)
    index = bisect_left(shown, packet.pts)
    if index == 0:
        return Planned(packet, True)
    previous = span.instant(clock.seconds(shown[index - 1]))
    return Planned(packet, span.instant(time_s) > previous)
