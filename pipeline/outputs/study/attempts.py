"""Sweeps, passes, back takes and the rest: tried, held, from where, after what, and what then."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import pandas as pd
from scipy.stats import binomtest

from pipeline.moments.outcomes import leads_to
from pipeline.outputs.study.counted import ELEVATIONS, base
from pipeline.outputs.study.selection import StudyBout
from pipeline.outputs.study.spells import side_of
from pipeline.settings import StudySettings
from pipeline.timeline import ATTEMPT_SUFFIX, Athlete, Moment, Segment, Timeline, coarse

ATTEMPTED: tuple[str, ...] = (
    "takedown",
    "sweep",
    "reversal",
    "guard_pass",
    "mount_taken",
    "back_taken",
    "knee_on_belly_taken",
    "stand_up",
)
"""Kinds that are either held or only attempted, in the order they are shown."""

ATTEMPT_COLUMNS = (
    "bout", "event", "date", "moment", "start_s", "time_s", "end_s", "clock_s", "kind", "by",
    "held", "from_position", "from_side", "elevation", "elevation_before_s", "after_position",
    "after_side", "followed_by", "note",
)  # fmt: skip
ELEVATION_COLUMNS = (
    "bout", "moment", "time_s", "clock_s", "kind", "by", "strength", "from_position", "led_to",
)  # fmt: skip

_JUST_BEFORE_S = 0.1
"""A moment that starts where a segment does came from the segment before."""


def attempts(bouts: Sequence[StudyBout], settings: StudySettings | None = None) -> pd.DataFrame:
    """Return one row an attempt, held or not.

    Parameters
    ----------
    bouts : sequence of StudyBout
    settings : StudySettings, optional

    Returns
    -------
    DataFrame
        Columns `ATTEMPT_COLUMNS`. ``by`` is "own", "opponent" or "" where nobody said; sides are
        the side of who attempts. For what comes from below, ``elevation`` is that athlete's
        last rise or lift before it, ``elevation_before_s`` how long before. ``after_…`` is where
        things stood `StudySettings.follow_s` seconds after the end, ``followed_by`` what happened
        until then.
    """
    settings = settings or StudySettings()
    rows = [
        _attempt(one, moment, settings)
        for one in bouts
        for moment in one.timeline.moments
        if base(moment.kind) in ATTEMPTED
    ]
    return pd.DataFrame(rows, columns=list(ATTEMPT_COLUMNS))


def elevations(bouts: Sequence[StudyBout], settings: StudySettings | None = None) -> pd.DataFrame:
    """Return one row a rise or lift, with what the same athlete made of it in time.

    Returns
    -------
    DataFrame
        Columns `ELEVATION_COLUMNS`; ``led_to`` is the first sweep, reversal, stand-up or back
        take, or attempt of one, that it leads to (`pipeline.moments.outcomes.leads_to`); else "".
    """
    settings = settings or StudySettings()
    rows = [
        (
            one.bout.id,
            moment.id,
            moment.peak_s,
            moment.peak_s - one.bout.start_s,
            moment.kind,
            by(moment.athlete, one.own),
            moment.strength,
            _place(_before(one.timeline, moment.start_s), moment.athlete)[0],
            _led_to(one.timeline, moment, settings.outcome_s),
        )
        for one in bouts
        for moment in one.timeline.moments
        if moment.kind in ELEVATIONS
    ]
    return pd.DataFrame(rows, columns=list(ELEVATION_COLUMNS))


def by(athlete: Athlete | None, own: Athlete) -> str:
    """Return "own", "opponent", or "" for nobody."""
    if athlete is None:
        return ""
    return "own" if athlete == own else "opponent"


def rates(
    attempts: pd.DataFrame,
    keys: Iterable[str] = ("kind", "by"),
    settings: StudySettings | None = None,
) -> pd.DataFrame:
    """Return how many attempts were held, with an interval of uncertainty.

    Parameters
    ----------
    attempts : DataFrame
        With a column held, and those of `keys`.
    keys : iterable of str
        What to count apart.

    Returns
    -------
    DataFrame
        The keys, then attempts, held, not_held, rate, low, high (Wilson score interval), few
        (whether there are too few to say much).
    """
    settings, keys = settings or StudySettings(), list(keys)
    counted = attempts.groupby(keys, as_index=False, sort=False).agg(
        attempts=("held", "size"), held=("held", "sum")
    )
    counted["held"] = counted["held"].astype(int)
    counted["not_held"] = counted["attempts"] - counted["held"]
    counted["rate"] = counted["held"] / counted["attempts"]
    bounds = [
        wilson(held, of, settings.confidence)
        for held, of in zip(counted["held"], counted["attempts"], strict=True)
    ]
    counted["low"], counted["high"] = [b[0] for b in bounds], [b[1] for b in bounds]
    counted["few"] = counted["attempts"] < settings.few
    return counted


def wilson(successes: int, of: int, confidence: float = 0.95) -> tuple[float, float]:
    """Return the Wilson score interval of a proportion (Wilson, JASA 22, 1927).

    Chosen because it stays between 0 and 1 and means something for small numbers.
    """
    if of == 0:
        return 0.0, 1.0
    interval = binomtest(int(successes), int(of)).proportion_ci(confidence, method="wilson")
    return float(interval.low), float(interval.high)


def _attempt(one: StudyBout, moment: Moment, settings: StudySettings) -> tuple[object, ...]:
    timeline, doer = one.timeline, moment.athlete
    elevation = _elevation_before(timeline, moment, settings.outcome_s)
    return (
        one.bout.id,
        one.bout.event,
        one.bout.date,
        moment.id,
        moment.start_s,
        moment.peak_s,
        moment.end_s,
        moment.peak_s - one.bout.start_s,
        base(moment.kind),
        by(doer, one.own),
        not moment.kind.endswith(ATTEMPT_SUFFIX),
        *_place(_before(timeline, moment.start_s), doer),
        elevation.kind if elevation else "",
        moment.peak_s - elevation.peak_s if elevation else None,
        *_place(timeline.at(moment.end_s + settings.follow_s), doer),
        _followed_by(timeline, moment, settings.follow_s),
        moment.note,
    )


def _before(timeline: Timeline, time_s: float) -> Segment | None:
    return timeline.at(max(0.0, time_s - _JUST_BEFORE_S)) or timeline.at(time_s)


def _place(segment: Segment | None, athlete: Athlete | None) -> tuple[str, str]:
    if segment is None:
        return "", ""
    if athlete is None:
        return coarse(segment.position), "neither"
    return coarse(segment.position), side_of(segment.position, segment.top, athlete)


def _elevation_before(timeline: Timeline, moment: Moment, reach_s: float) -> Moment | None:
    fitting = [m for m in timeline.moments if m.kind in ELEVATIONS and leads_to(m, moment, reach_s)]
    return max(fitting, key=lambda m: m.peak_s, default=None)


def _led_to(timeline: Timeline, elevation: Moment, reach_s: float) -> str:
    led = [m for m in timeline.moments if leads_to(elevation, m, reach_s)]
    return min(led, key=lambda m: m.peak_s).kind if led else ""


def _followed_by(timeline: Timeline, moment: Moment, follow_s: float) -> str:
    after = (
        f"{m.kind} ({'same athlete' if m.athlete == moment.athlete else 'other athlete'})"
        for m in timeline.moments
        if m.id != moment.id
        and m.kind not in ELEVATIONS
        and moment.end_s < m.peak_s <= moment.end_s + follow_s
    )
    return "; ".join(after)
