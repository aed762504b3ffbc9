"""Segment, Moment and Timeline: the model that all rooms share."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from enum import StrEnum
from itertools import pairwise
from typing import Literal
from uuid import uuid4

from pipeline.errors import MatlineError
from pipeline.timeline.vocabulary import ATTEMPT_SUFFIX, BY_KEY, MOMENT_KINDS, coarse

Athlete = Literal["A", "B"]
ATHLETES: tuple[Athlete, Athlete] = ("A", "B")


class State(StrEnum):
    """How far a human has been with something. The three are never mixed."""

    PROPOSED = "proposed"
    ACCEPTED = "accepted"
    CORRECTED = "corrected"


def new_id() -> str:
    """Return a short random identity, unique within a library."""
    return uuid4().hex[:12]


def other(athlete: Athlete) -> Athlete:
    """Return the opponent's letter."""
    return "B" if athlete == "A" else "A"


def _check_span(what: str, start_s: float, end_s: float) -> None:
    if not (math.isfinite(start_s) and math.isfinite(end_s)):
        raise MatlineError(f"{what}: times must be finite numbers, not {start_s} and {end_s}.")
    if start_s < 0:
        raise MatlineError(f"{what}: starts at {start_s:.3f} s, before the first picture.")


@dataclass(frozen=True)
class Segment:
    """A stretch of one position, half-open ``[start_s, end_s)``.

    Attributes
    ----------
    start_s, end_s : float
        Seconds from the first picture.
    position : str
        A position key, with an optional finer label after a slash.
    top : {"A", "B", None}
        Who is on top, or has the back.
    confidence : float
        0–1, how sure the reader is; 1 for what a human said.
    state : State
    note : str
    id : str
        Stable through corrections.
    """

    start_s: float
    end_s: float
    position: str
    top: Athlete | None = None
    confidence: float = 1.0
    state: State = State.PROPOSED
    note: str = ""
    id: str = field(default_factory=new_id)

    def __post_init__(self) -> None:
        what = f"Segment {self.position} at {self.start_s} s"
        _check_span(what, self.start_s, self.end_s)
        if self.end_s <= self.start_s:
            raise MatlineError(
                f"{what}: ends at {self.end_s} s; the end must come after the start."
            )
        if coarse(self.position) not in BY_KEY:
            known = ", ".join(BY_KEY)
            raise MatlineError(f"{what}: unknown position “{self.position}”; use one of {known}.")
        if self.top not in (None, "A", "B"):
            raise MatlineError(f"{what}: top is “{self.top}”; use A, B or nothing.")
        if not 0 <= self.confidence <= 1:
            raise MatlineError(f"{what}: confidence {self.confidence} is not between 0 and 1.")

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return self.end_s - self.start_s


@dataclass(frozen=True)
class Moment:
    """Something that happened: a rise, a sweep, a back taken, or the attempt of one.

    Attributes
    ----------
    start_s, peak_s, end_s : float
        Seconds from the first picture; ``start_s <= peak_s <= end_s``.
    kind : str
        One of `MOMENT_KINDS`, or one of those with ``_attempt``.
    athlete : {"A", "B", None}
        Who did it.
    strength : float
        In the unit of the kind's definition (trunk lengths for rise and lift, seconds held for
        what is held).
    evidence : dict
        The numbers that fired it, by name.
    """

    start_s: float
    peak_s: float
    end_s: float
    kind: str
    athlete: Athlete | None = None
    strength: float = 0.0
    confidence: float = 1.0
    state: State = State.PROPOSED
    note: str = ""
    evidence: dict[str, float] = field(default_factory=dict)
    id: str = field(default_factory=new_id)

    def __post_init__(self) -> None:
        what = f"Moment {self.kind} at {self.start_s} s"
        _check_span(what, self.start_s, self.end_s)
        if not self.start_s <= self.peak_s <= self.end_s:
            raise MatlineError(f"{what}: its peak {self.peak_s} s is not between start and end.")
        if self.kind.removesuffix(ATTEMPT_SUFFIX) not in MOMENT_KINDS:
            known = ", ".join(MOMENT_KINDS)
            raise MatlineError(f"{what}: unknown kind “{self.kind}”; use one of {known}.")
        if self.athlete not in (None, "A", "B"):
            raise MatlineError(f"{what}: athlete is “{self.athlete}”; use A, B or nothing.")


@dataclass(frozen=True)
class Timeline:
    """What happened in one bout: segments in order without overlap, and moments in order."""

    segments: tuple[Segment, ...] = ()
    moments: tuple[Moment, ...] = ()

    def __post_init__(self) -> None:
        segments = tuple(sorted(self.segments, key=lambda s: s.start_s))
        for before, after in pairwise(segments):
            if after.start_s < before.end_s - 1e-6:
                raise MatlineError(
                    f"Segments overlap: {before.position} ends at {before.end_s:.3f} s but "
                    f"{after.position} starts at {after.start_s:.3f} s; move one border."
                )
        object.__setattr__(self, "segments", segments)
        object.__setattr__(self, "moments", tuple(sorted(self.moments, key=lambda m: m.start_s)))

    def at(self, time_s: float) -> Segment | None:
        """Return the segment that holds a time, or None."""
        return next((s for s in self.segments if s.start_s <= time_s < s.end_s), None)

    def with_segments(self, segments: Iterable[Segment]) -> Timeline:
        """Return the same timeline with other segments."""
        return replace(self, segments=tuple(segments))

    def with_moments(self, moments: Iterable[Moment]) -> Timeline:
        """Return the same timeline with other moments."""
        return replace(self, moments=tuple(moments))
