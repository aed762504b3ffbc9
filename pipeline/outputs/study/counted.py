"""Which moments count: what a person said, and what follows from the segments a person said."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import replace

from pipeline.moments.spells import spells
from pipeline.moments.transitions import find_transitions
from pipeline.settings import MomentsSettings
from pipeline.timeline import ATTEMPT_SUFFIX, Moment, Segment, State, Timeline

ELEVATIONS: tuple[str, ...] = ("rise", "lift")
SAME_MOMENT_S = 1.0
"""Seconds. Two changes of the same kind whose peaks are this close are one."""


def counted_moments(
    timeline: Timeline,
    states: frozenset[State],
    proposal: Timeline | None = None,
    settings: MomentsSettings | None = None,
) -> list[Moment]:
    """Return the moments of a timeline that count in a study.

    A sweep, pass or the like follows from the positions around it, so it is found again in the
    segments as they stand now, and counts as soon as those are in a state asked for. Rises and
    lifts count in their own state. What a person said about a moment comes before what follows
    from segments; what a person removed stays removed.

    Parameters
    ----------
    timeline : Timeline
        As it stands.
    states : frozenset of State
    proposal : Timeline, optional
        As it was read, to know what was removed.
    settings : MomentsSettings, optional

    Returns
    -------
    list of Moment
    """
    settings = settings or MomentsSettings()
    said = [m for m in timeline.moments if m.state is not State.PROPOSED]
    there = {m.id for m in timeline.moments}
    gone = [m for m in (proposal or Timeline()).moments if m.id not in there]
    found = find_transitions(
        spells(timeline.segments, settings.reached_s, settings.pause_s), settings
    )
    followed = [
        replace(m, id=_steady_id(m))
        for m in found
        if _stands_on(timeline.segments, m, states, settings.hold_s)
        and not _among(m, said)
        and not _among(m, gone)
    ]
    own_state = [
        m
        for m in timeline.moments
        if m.state in states and (m.state is not State.PROPOSED or m.kind in ELEVATIONS)
    ]
    return own_state + followed


def _steady_id(moment: Moment) -> str:
    """Return an id that is the same each time a moment is found again."""
    said = f"{moment.kind} {moment.athlete} {moment.peak_s:.3f}"
    return hashlib.blake2b(said.encode(), digest_size=6).hexdigest()


def _stands_on(
    segments: Iterable[Segment], moment: Moment, states: frozenset[State], hold_s: float
) -> bool:
    """Return whether all segments that made the moment, or could undo it, are in the states."""
    touched = [
        s for s in segments if s.end_s > moment.start_s - 0.1 and s.start_s < moment.peak_s + hold_s
    ]
    return all(s.state in states for s in touched)


def _among(moment: Moment, others: Iterable[Moment]) -> bool:
    return any(
        base(m.kind) == base(moment.kind) and abs(m.peak_s - moment.peak_s) <= SAME_MOMENT_S
        for m in others
    )


def base(kind: str) -> str:
    """Return the kind without its attempt: ``"sweep_attempt"`` → ``"sweep"``."""
    return kind.removesuffix(ATTEMPT_SUFFIX)
