"""Segments → spells: stretches of one position and one top athlete that transitions join."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

from pipeline.timeline import BY_KEY, Athlete, Segment, coarse

NOT_SETTLED = frozenset({"standing", "apart", "takedown", "scramble", "unknown"})
ON_FEET = frozenset({"standing", "apart"})
PAST_GUARD = frozenset({"side_control", "north_south", "knee_on_belly", "mount", "back_control"})


@dataclass(frozen=True)
class Spell:
    """A stretch ``[start_s, end_s)`` of one coarse position with one athlete on top."""

    start_s: float
    end_s: float
    position: str
    top: Athlete | None
    confidence: float = 1.0

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return self.end_s - self.start_s

    @property
    def settled(self) -> bool:
        """Whether it is a ground position that has a name and a top athlete."""
        return self.position not in NOT_SETTLED and self.top is not None

    @property
    def is_guard(self) -> bool:
        """Whether a reversal from underneath is a sweep."""
        return BY_KEY[self.position].is_guard

    def held_by(self, athlete: Athlete) -> bool:
        """Whether `athlete` is on top of a settled position."""
        return self.settled and self.top == athlete


def spells(segments: Iterable[Segment], shortest_s: float, bridge_s: float) -> list[Spell]:
    """Join segments into spells.

    Parameters
    ----------
    segments : iterable of Segment
    shortest_s : float
        Shorter stretches between two longer ones are taken for flicker and dropped.
    bridge_s : float
        Two spells of the same kind this near to each other are one.
    """
    ordered = sorted(segments, key=lambda s: s.start_s)
    rough = [Spell(s.start_s, s.end_s, coarse(s.position), s.top, s.confidence) for s in ordered]
    joined = _joined([s for s in rough if s.position != "unknown"], 1e-6)
    return _joined([s for s in joined if s.duration_s >= shortest_s - 1e-9], bridge_s)


def _joined(parts: list[Spell], bridge_s: float) -> list[Spell]:
    result: list[Spell] = []
    for part in parts:
        last = result[-1] if result else None
        same = last and (last.position, last.top) == (part.position, part.top)
        if last and same and part.start_s - last.end_s <= bridge_s + 1e-9:
            confidence = min(last.confidence, part.confidence)
            result[-1] = replace(last, end_s=part.end_s, confidence=confidence)
        else:
            result.append(part)
    return result


def held_s(parts: list[Spell], first: int, keeps: Callable[[Spell], bool], pause_s: float) -> float:
    """Return how long, from spell `first` on, `keeps` holds.

    A scramble or a hole in the timeline no longer than `pause_s` does not end it.
    """
    end_s = parts[first].start_s
    for part in parts[first:]:
        if keeps(part):
            if part.start_s - end_s > pause_s + 1e-9:
                break
            end_s = part.end_s
        elif not (part.position == "scramble" and part.duration_s <= pause_s):
            break
    return end_s - parts[first].start_s
