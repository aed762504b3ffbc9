"""Everything a human can change in a timeline: one small pure function an action.

What a human has said is marked: naming a position, a top athlete or a border makes a segment
*corrected*; saying "yes" makes it *accepted*; a split alone says nothing about either half.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable
from dataclasses import replace
from typing import Any, Literal

from pipeline.errors import MatlineError
from pipeline.timeline.model import Athlete, Moment, Segment, State, Timeline, other
from pipeline.timeline.vocabulary import position

Same = Literal["same"]
Edge = Literal["start", "end"]
Action = Callable[..., Timeline]

SAME_TIME_S = 1e-6
"""Two borders closer than this are one border; far below the distance of two pictures."""

ACTIONS: dict[str, Action] = {}
"""Every action by name; its arguments are the function's, after the timeline."""


class CorrectionError(MatlineError):
    """A correction that doesn't fit the timeline, or isn't a correction at all."""


def _action(function: Action) -> Action:
    ACTIONS[function.__name__] = function
    return function


# Segments


@_action
def accept(timeline: Timeline, segment: str) -> Timeline:
    """Say that a proposed segment is right as it stands."""
    old = _segment(timeline, segment)
    state = State.ACCEPTED if old.state is State.PROPOSED else old.state
    return _swap_in(timeline, segment, replace(old, state=state))


@_action
def relabel(
    timeline: Timeline, segment: str, position: str, top: Athlete | Same | None = "same"
) -> Timeline:
    """Give a segment another position; the top athlete stays where the position has one."""
    old = _segment(timeline, segment)
    kept = old.top if top == "same" else top
    new = _corrected(old, position=position, top=kept)
    return _swap_in(timeline, segment, new if _has_top(position) else replace(new, top=None))


@_action
def set_top(timeline: Timeline, segment: str, top: Athlete | None) -> Timeline:
    """Say who is on top."""
    old = _segment(timeline, segment)
    if top is not None and not _has_top(old.position):
        raise CorrectionError(
            f"In {position(old.position).name} nobody is on top; change the position first."
        )
    return _swap_in(timeline, segment, _corrected(old, top=top))


@_action
def note(timeline: Timeline, segment: str, text: str) -> Timeline:
    """Write a note on a segment; its state stays."""
    return _swap_in(timeline, segment, replace(_segment(timeline, segment), note=text))


@_action
def split(timeline: Timeline, segment: str, time_s: float, id: str) -> Timeline:
    """Cut a segment in two; the later part gets the new id. Neither label is vouched for."""
    old = _segment(timeline, segment)
    _check_new(timeline, id)
    if not old.start_s + SAME_TIME_S < time_s < old.end_s - SAME_TIME_S:
        raise CorrectionError(
            f"Can't split at {time_s:.3f} s: the segment runs from {old.start_s:.3f} to "
            f"{old.end_s:.3f} s; choose a time inside it."
        )
    later = replace(old, start_s=time_s, id=id, note="")
    return _swap_in(timeline, segment, replace(old, end_s=time_s), later)


@_action
def merge(timeline: Timeline, segment: str, keep: Literal["first", "second"] = "first") -> Timeline:
    """Join a segment with the one after it, and any gap between; `keep` says whose label stays."""
    first = _segment(timeline, segment)
    second = _next(timeline, first)
    if second is None:
        raise CorrectionError("Can't merge the last segment: none comes after it.")
    label = first if keep == "first" else second
    notes = "\n".join(n for n in (first.note, second.note) if n)
    joined = _corrected(label, start_s=first.start_s, end_s=second.end_s, id=first.id, note=notes)
    left = [s for s in timeline.segments if s.id not in (first.id, second.id)]
    return timeline.with_segments([*left, joined])


@_action
def move_border(timeline: Timeline, segment: str, edge: Edge, time_s: float) -> Timeline:
    """Move where a segment starts or ends; a touching neighbour follows, none is swallowed."""
    old = _segment(timeline, segment)
    neighbour = _next(timeline, old) if edge == "end" else _previous(timeline, old)
    moved = [_corrected(old, **_edge(old, edge, time_s))]
    if neighbour is not None:
        far = _follow(old, neighbour, edge, time_s)
        moved.append(neighbour if far is None else _corrected(neighbour, **far))
    left = [s for s in timeline.segments if s not in (old, neighbour)]
    return timeline.with_segments([*left, *moved])


@_action
def add_segment(
    timeline: Timeline,
    start_s: float,
    end_s: float,
    position: str,
    id: str,
    rest_id: str,
    top: Athlete | None = None,
    note: str = "",
) -> Timeline:
    """Put a segment over whatever was there: covered segments go, others are cut."""
    _check_new(timeline, id)
    _check_new(timeline, rest_id)
    new = Segment(start_s, end_s, position, top, 1.0, State.CORRECTED, note, id)
    # Only those it touches are looked at: an import may add thousands.
    there = timeline.segments
    first = bisect_right(there, start_s, key=lambda s: s.end_s)
    last = max(first, bisect_left(there, end_s, key=lambda s: s.start_s))
    touched = (part for s in there[first:last] for part in _around(s, start_s, end_s, rest_id))
    return timeline.with_segments([*there[:first], *touched, new, *there[last:]])


@_action
def remove_segment(timeline: Timeline, segment: str) -> Timeline:
    """Take a segment out and leave a gap."""
    _segment(timeline, segment)
    return _swap_in(timeline, segment)


@_action
def set_bounds(timeline: Timeline, start_s: float, end_s: float) -> Timeline:
    """Say when the bout starts and ends: what lies outside goes."""
    if end_s <= start_s:
        raise CorrectionError(
            f"A bout can't end at {end_s:.3f} s, before its start at {start_s:.3f} s."
        )
    kept = (
        replace(s, start_s=max(s.start_s, start_s), end_s=min(s.end_s, end_s))
        for s in timeline.segments
        if s.start_s < end_s - SAME_TIME_S and s.end_s > start_s + SAME_TIME_S
    )
    inside = (m for m in timeline.moments if start_s <= m.peak_s <= end_s)
    return timeline.with_segments(kept).with_moments(inside)


@_action
def swap_athletes(timeline: Timeline, from_s: float, id: str) -> Timeline:
    """Exchange A and B from a time on, in segments and moments; states stay."""
    held = timeline.at(from_s)
    inside = held is not None and min(from_s - held.start_s, held.end_s - from_s) > SAME_TIME_S
    if held is not None and held.top is not None and inside:
        timeline = split(timeline, held.id, from_s, id)
    start_s = from_s - SAME_TIME_S
    return timeline.with_segments(
        replace(s, top=other(s.top)) if s.top and s.start_s >= start_s else s
        for s in timeline.segments
    ).with_moments(
        replace(m, athlete=other(m.athlete)) if m.athlete and m.peak_s >= start_s else m
        for m in timeline.moments
    )


# Moments


@_action
def accept_moment(timeline: Timeline, moment: str) -> Timeline:
    """Say that a proposed moment happened as it stands."""
    old = _moment(timeline, moment)
    state = State.ACCEPTED if old.state is State.PROPOSED else old.state
    return _moment_in(timeline, moment, replace(old, state=state))


@_action
def add_moment(
    timeline: Timeline,
    kind: str,
    peak_s: float,
    id: str,
    start_s: float | None = None,
    end_s: float | None = None,
    athlete: Athlete | None = None,
    note: str = "",
) -> Timeline:
    """Add a moment; without start and end it lasts no time."""
    _check_new(timeline, id)
    new = Moment(
        start_s=peak_s if start_s is None else start_s,
        peak_s=peak_s,
        end_s=peak_s if end_s is None else end_s,
        kind=kind,
        athlete=athlete,
        state=State.CORRECTED,
        note=note,
        id=id,
    )
    return timeline.with_moments([*timeline.moments, new])


@_action
def edit_moment(
    timeline: Timeline,
    moment: str,
    kind: str | None = None,
    start_s: float | None = None,
    peak_s: float | None = None,
    end_s: float | None = None,
    athlete: Athlete | Same | None = "same",
    note: str | None = None,
) -> Timeline:
    """Change what is given; a note alone leaves the state as it is."""
    old = _moment(timeline, moment)
    given = {"kind": kind, "start_s": start_s, "peak_s": peak_s, "end_s": end_s}
    changes: dict[str, Any] = {name: value for name, value in given.items() if value is not None}
    if athlete != "same":
        changes["athlete"] = athlete
    if changes:
        changes |= {"state": State.CORRECTED, "confidence": 1.0}
    if note is not None:
        changes["note"] = note
    return _moment_in(timeline, moment, replace(old, **changes))


@_action
def remove_moment(timeline: Timeline, moment: str) -> Timeline:
    """Take a moment out: it did not happen."""
    _moment(timeline, moment)
    return timeline.with_moments(m for m in timeline.moments if m.id != moment)


# Helpers


def _has_top(label: str) -> bool:
    try:
        return position(label).has_top
    except KeyError:
        raise CorrectionError(f"Unknown position “{label}”.") from None


def _corrected(segment: Segment, **changes: Any) -> Segment:
    return replace(segment, **(changes | {"state": State.CORRECTED, "confidence": 1.0}))


def _segment(timeline: Timeline, segment: str) -> Segment:
    for one in timeline.segments:
        if one.id == segment:
            return one
    raise CorrectionError(
        f"No segment “{segment}” in this bout; it may have been merged or removed."
    )


def _moment(timeline: Timeline, moment: str) -> Moment:
    for one in timeline.moments:
        if one.id == moment:
            return one
    raise CorrectionError(f"No moment “{moment}” in this bout; it may have been removed.")


def _swap_in(timeline: Timeline, segment: str, *new: Segment) -> Timeline:
    return timeline.with_segments([*(s for s in timeline.segments if s.id != segment), *new])


def _moment_in(timeline: Timeline, moment: str, new: Moment) -> Timeline:
    return timeline.with_moments(new if m.id == moment else m for m in timeline.moments)


def _check_new(timeline: Timeline, id: str) -> None:
    if any(s.id == id for s in timeline.segments) or any(m.id == id for m in timeline.moments):
        raise CorrectionError(f"The id “{id}” is already used in this bout.")


def _next(timeline: Timeline, segment: Segment) -> Segment | None:
    return next((s for s in timeline.segments if s.start_s > segment.start_s), None)


def _previous(timeline: Timeline, segment: Segment) -> Segment | None:
    return next((s for s in reversed(timeline.segments) if s.start_s < segment.start_s), None)


def _edge(segment: Segment, edge: Edge, time_s: float) -> dict[str, float]:
    start_s, end_s = (time_s, segment.end_s) if edge == "start" else (segment.start_s, time_s)
    if start_s < 0 or end_s - start_s <= SAME_TIME_S:
        raise CorrectionError(
            f"Can't move the border to {time_s:.3f} s: nothing would be left of the segment from "
            f"{segment.start_s:.3f} to {segment.end_s:.3f} s; remove or merge it instead."
        )
    return {"start_s": start_s, "end_s": end_s}


def _follow(
    segment: Segment, neighbour: Segment, edge: Edge, time_s: float
) -> dict[str, float] | None:
    """Return the neighbour's new times, or None where the border doesn't reach it."""
    if edge == "end":
        touched = neighbour.start_s - segment.end_s <= SAME_TIME_S
        reached = time_s > neighbour.start_s
        return _edge(neighbour, "start", time_s) if touched or reached else None
    touched = segment.start_s - neighbour.end_s <= SAME_TIME_S
    reached = time_s < neighbour.end_s
    return _edge(neighbour, "end", time_s) if touched or reached else None


def _around(segment: Segment, start_s: float, end_s: float, rest_id: str) -> list[Segment]:
    """Return what is left of a segment outside ``[start_s, end_s)``."""
    parts = []
    if segment.start_s < start_s - SAME_TIME_S:
        parts.append(replace(segment, end_s=min(segment.end_s, start_s)))
    if segment.end_s > end_s + SAME_TIME_S:
        id = rest_id if parts else segment.id
        parts.append(replace(segment, start_s=max(segment.start_s, end_s), id=id))
    return parts
