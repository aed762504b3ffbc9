"""Proposed points, given and conceded, over the clock. A study aid; never officiating."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from pipeline.moments import RuleSet, propose_points, usual_or
from pipeline.outputs.study.attempts import by
from pipeline.outputs.study.selection import StudyBout

POINT_COLUMNS = ("bout", "time_s", "clock_s", "by", "kind", "points", "rules")


def points(bouts: Sequence[StudyBout]) -> pd.DataFrame:
    """Return one row for each time points are proposed, under each bout's own rules.

    Parameters
    ----------
    bouts : sequence of StudyBout

    Returns
    -------
    DataFrame
        Columns `POINT_COLUMNS`; time is when a position had been held long enough.
    """
    rows = []
    for one in bouts:
        rules = rules_of(one)
        span = (one.bout.start_s, one.bout.end_s)
        tally = propose_points(one.timeline.moments, one.timeline.segments, rules, span)
        rows += [
            (
                one.bout.id,
                p.at_s,
                p.at_s - one.bout.start_s,
                by(p.athlete, one.own),
                p.moment.kind,
                p.points,
                f"{rules.name}, {rules.edition}",
            )
            for p in tally.points
        ]
    return pd.DataFrame(rows, columns=list(POINT_COLUMNS))


def rules_of(one: StudyBout) -> RuleSet:
    """Return the bout's rule set, or the usual one."""
    return usual_or(one.bout.ruleset)


def running_score(points: pd.DataFrame, bout_id: str, end_s: float) -> pd.DataFrame:
    """Return the score of one bout over its clock.

    Parameters
    ----------
    points : DataFrame
        As from `points`.
    bout_id : str
    end_s : float
        The bout's length, seconds.

    Returns
    -------
    DataFrame
        Columns clock_s, own, opponent; from 0 to the end, a row at each change.
    """
    given = points[points["bout"] == bout_id].sort_values("clock_s")
    table = pd.DataFrame({"clock_s": [0.0, *given["clock_s"], end_s]})
    for who in ("own", "opponent"):
        gained = given["points"].where(given["by"] == who, 0).cumsum().tolist()
        table[who] = [0, *gained, gained[-1] if gained else 0]
    return table
