"""Moments → proposed points under a rule set. A study aid; never officiating."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.moments.rules import RuleSet
from pipeline.moments.spells import ON_FEET
from pipeline.timeline import ATTEMPT_SUFFIX, BY_KEY, Athlete, Moment, Segment, coarse

CAUTION = (
    "Proposed points are a study aid. They come from what a camera shows, know neither grips nor "
    "submissions nor intent, and are no officiating."
)

_POSITIONS_TAKEN = frozenset({"mount_taken", "back_taken", "knee_on_belly_taken"})
_ONCE = _POSITIONS_TAKEN | {"guard_pass"}
_JOIN_S = 1.0  # two positions this near in time are one progression


@dataclass(frozen=True)
class ProposedPoints:
    """Points for one moment.

    Attributes
    ----------
    at_s : float
        When it had been held long enough.
    athlete : {"A", "B"}
    points : int
    moment : Moment
    """

    at_s: float
    athlete: Athlete
    points: int
    moment: Moment


@dataclass(frozen=True)
class NotCounted:
    """A moment of a kind that scores, with the reason why it doesn't here."""

    moment: Moment
    reason: str


@dataclass(frozen=True)
class Tally:
    """Proposed points of a bout.

    Attributes
    ----------
    rules : RuleSet
    points : tuple of ProposedPoints
        In order of time.
    came_close : tuple of Moment
        Reached, not held.
    not_counted : tuple of NotCounted
        Held, and still without points.
    """

    rules: RuleSet
    points: tuple[ProposedPoints, ...]
    came_close: tuple[Moment, ...]
    not_counted: tuple[NotCounted, ...]

    def total(self, athlete: Athlete, until_s: float = float("inf")) -> int:
        """Return an athlete's points given up to a time in seconds."""
        return sum(p.points for p in self.points if p.athlete == athlete and p.at_s <= until_s)


def propose_points(
    moments: Sequence[Moment],
    segments: Sequence[Segment],
    rules: RuleSet,
    bout_s: tuple[float, float] | None = None,
) -> Tally:
    """Propose the points of a bout.

    Parameters
    ----------
    moments : sequence of Moment
        As from `pipeline.moments.find_moments`, corrected or not.
    segments : sequence of Segment
        Of the same bout: they tell where a moment ended and when a control was lost.
    rules : RuleSet
    bout_s : (float, float), optional
        Start and scheduled end, seconds; needed where the opening is without points. Without it
        the segments' span is taken.

    Returns
    -------
    Tally
    """
    ordered = sorted(moments, key=lambda m: (m.peak_s, m.start_s))
    scoring = [m for m in ordered if m.athlete and _award(m, segments, rules)]
    opening_end_s = _opening_end(segments, rules, bout_s)
    given: list[ProposedPoints] = []
    close: list[Moment] = []
    refused: list[NotCounted] = []
    for moment in scoring:
        if not _counts_as_held(moment, scoring, rules):
            close.append(moment)
            continue
        at_s = moment.peak_s + rules.control_s
        reason = _refusal(moment, scoring, given, segments, rules)
        if at_s < opening_end_s:
            reason = "no positive points in this part of the bout"
        if reason:
            refused.append(NotCounted(moment, reason))
            continue
        award = _award(moment, segments, rules)
        if award and moment.athlete:
            given.append(ProposedPoints(at_s, moment.athlete, award, moment))
    given.sort(key=lambda p: p.at_s)
    return Tally(rules, tuple(given), tuple(close), tuple(refused))


def _kind(moment: Moment) -> str:
    return moment.kind.removesuffix(ATTEMPT_SUFFIX)


def _award(moment: Moment, segments: Sequence[Segment], rules: RuleSet) -> int:
    """Points of the moment's kind where it ended; 0 if it has none."""
    landed = _at(segments, moment.peak_s + rules.control_s) or _at(segments, moment.peak_s)
    position = coarse(landed.position) if landed else ""
    in_guard = position == "leg_entanglement" or (landed is not None and BY_KEY[position].is_guard)
    where = "in_guard" if in_guard else "past_guard"
    for award in rules.awards:
        if award.kind == _kind(moment) and award.when in ("any", where):
            return award.points
    return 0


def _at(segments: Sequence[Segment], time_s: float) -> Segment | None:
    return next((s for s in segments if s.start_s <= time_s < s.end_s), None)


def _held(moment: Moment) -> float | None:
    """Seconds held, or None for a moment that a human added without saying."""
    return moment.evidence.get("held_s")


def _counts_as_held(moment: Moment, scoring: list[Moment], rules: RuleSet) -> bool:
    held = _held(moment)
    if held is None:
        return not moment.kind.endswith(ATTEMPT_SUFFIX)
    if held >= rules.control_s - 1e-9:
        return True
    if not rules.progression_counts or _kind(moment) not in _POSITIONS_TAKEN:
        return False
    left_s = moment.peak_s + held
    onward = (
        m
        for m in scoring
        if m.athlete == moment.athlete
        and _kind(m) in _POSITIONS_TAKEN
        and moment.peak_s < m.peak_s
        and abs(m.peak_s - left_s) <= _JOIN_S
    )
    return any(_counts_as_held(m, scoring, rules) for m in onward)


def _refusal(
    moment: Moment,
    scoring: list[Moment],
    given: list[ProposedPoints],
    segments: Sequence[Segment],
    rules: RuleSet,
) -> str | None:
    """Say why a held moment has no points, or None if it has."""
    straight = not rules.pass_straight_adds and _kind(moment) in _POSITIONS_TAKEN - {"back_taken"}
    if straight and any(
        m.kind == "guard_pass" and m.athlete == moment.athlete and m.peak_s == moment.peak_s
        for m in scoring
    ):
        return "passed straight to it: only the pass counts"
    before = [
        p.moment for p in given if p.athlete == moment.athlete and p.moment.kind == moment.kind
    ]
    if _kind(moment) not in _ONCE or not before:
        return None
    if rules.once_again_after_s is not None:
        left_s = before[-1].peak_s + (_held(before[-1]) or rules.control_s)
        again = moment.peak_s - left_s >= rules.once_again_after_s - 1e-9
    else:
        again = _control_lost(moment.athlete, before[-1].peak_s, moment.peak_s, segments)
    return None if again else "the same position again in one control"


def _control_lost(
    athlete: Athlete | None, from_s: float, to_s: float, segments: Sequence[Segment]
) -> bool:
    """Whether the opponent got back to guard, on top, or to their feet in between."""
    between = (s for s in segments if s.end_s > from_s and s.start_s < to_s)
    return any(
        coarse(s.position) in ON_FEET
        or s.top not in (None, athlete)
        or BY_KEY[coarse(s.position)].is_guard
        for s in between
    )


def _opening_end(
    segments: Sequence[Segment], rules: RuleSet, bout_s: tuple[float, float] | None
) -> float:
    if not rules.opening_without_points:
        return float("-inf")
    if bout_s is None:
        if not segments:
            return float("-inf")
        bout_s = (min(s.start_s for s in segments), max(s.end_s for s in segments))
    return bout_s[0] + rules.opening_without_points * (bout_s[1] - bout_s[0])
