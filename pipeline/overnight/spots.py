"""Single moments worth opening in the morning: where to look, and why."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from pipeline.moments.outcomes import ELEVATIONS
from pipeline.timeline import Moment, Segment, Timeline, clock, position

Why = Literal["elevation", "scoring", "unsure"]

SCORING = ("takedown", "sweep", "guard_pass", "mount_taken", "back_taken", "knee_on_belly_taken")

UNSURE = 0.6
"""Confidence below which a segment is one to look at first."""

MOST_OF_A_KIND = 5
"""Spots of each kind named for a bout; the page shows all of them beside the picture."""

_LONGEST_LOOK_S = 6.0
"""More of a segment than that is not watched before deciding, so longer ones weigh no more."""

_BEFORE_S = 2.0
"""Seconds before a moment at which a page is opened: one sees it coming."""


@dataclass(frozen=True)
class Spot:
    """A place of a bout.

    Attributes
    ----------
    bout : str
        Id in the library.
    at_s : float
        Where to open it, seconds of its footage.
    time_s : float
        When it happens: a moment's peak, as everywhere.
    why : {"elevation", "scoring", "unsure"}
    what : str
        In words: ``"sweep by A"``.
    """

    bout: str
    at_s: float
    time_s: float
    why: Why
    what: str

    def __str__(self) -> str:
        return f"{clock(self.time_s)} {self.what}"


def spots(bout: str, timeline: Timeline) -> tuple[Spot, ...]:
    """Return what to open of a bout: elevations, scoring moments, and where a look pays most.

    Of each kind the surest moments, and the segments with most doubt in the seconds that a look
    takes; each kind in order of time.
    """
    kinds: tuple[tuple[Why, tuple[str, ...]], ...]
    kinds = (("elevation", ELEVATIONS), ("scoring", SCORING))
    moments = (
        _moment(bout, moment, why)
        for why, those in kinds
        for moment in _surest(m for m in timeline.moments if m.kind in those)
    )
    doubtful = [s for s in timeline.segments if s.confidence < UNSURE]
    doubtful = sorted(doubtful, key=lambda s: -_doubt(s))[:MOST_OF_A_KIND]
    doubts = (_doubtful(bout, s) for s in sorted(doubtful, key=lambda s: s.start_s))
    return (*moments, *doubts)


def _surest(moments: Iterable[Moment]) -> list[Moment]:
    best = sorted(moments, key=lambda m: (-m.confidence, -m.strength))[:MOST_OF_A_KIND]
    return sorted(best, key=lambda m: m.peak_s)


def _doubt(segment: Segment) -> float:
    return (1 - segment.confidence) * min(segment.duration_s, _LONGEST_LOOK_S)


def _moment(bout: str, moment: Moment, why: Why) -> Spot:
    by = f" by {moment.athlete}" if moment.athlete else ""
    what = moment.kind.replace("_", " ") + by
    return Spot(bout, max(0.0, moment.start_s - _BEFORE_S), moment.peak_s, why, what)


def _doubtful(bout: str, segment: Segment) -> Spot:
    what = f"{position(segment.position).name}?"
    return Spot(bout, segment.start_s, segment.start_s, "unsure", what)
