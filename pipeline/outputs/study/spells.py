"""Time in positions, and the ways from one to the next."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Literal

import pandas as pd

from pipeline.outputs.study.selection import StudyBout
from pipeline.settings import StudySettings
from pipeline.timeline import Athlete, position
from pipeline.timeline.compare import Run, runs

Side = Literal["top", "bottom", "neither"]
SIDES: tuple[Side, ...] = ("top", "bottom", "neither")

SPELL_COLUMNS = ("bout", "start_s", "end_s", "clock_s", "seconds", "position", "side")
TRANSITION_COLUMNS = (
    "bout", "time_s", "clock_s", "from_position", "from_side", "to_position", "to_side",
)  # fmt: skip
TOUCHING_S = 1e-3
"""Two spells this close follow each other; with a wider gap nobody knows what lay between."""


def side_of(label: str, top: Athlete | None, own: Athlete) -> Side:
    """Return where the own athlete is; ``"neither"`` also where nobody said who is on top."""
    if top is None or not position(label).has_top:
        return "neither"
    return "top" if top == own else "bottom"


def spells(bouts: Sequence[StudyBout]) -> pd.DataFrame:
    """Return one row a spell: an unbroken stretch of one position with one athlete on top.

    Parameters
    ----------
    bouts : sequence of StudyBout

    Returns
    -------
    DataFrame
        Columns `SPELL_COLUMNS`: bout id, start and end in the footage and on the bout's clock
        (seconds), length, position key, side of the own athlete.
    """
    rows = [
        (
            one.bout.id,
            run.start_s,
            run.end_s,
            run.start_s - one.bout.start_s,
            float(run.end_s - run.start_s),
            run.label,
            side_of(run.label, run.top, one.own),
        )
        for one in bouts
        for run in _runs(one)
    ]
    return pd.DataFrame(rows, columns=list(SPELL_COLUMNS))


def time_in_positions(spells: pd.DataFrame) -> pd.DataFrame:
    """Return seconds, share, visits and longest visit of each position and side.

    Parameters
    ----------
    spells : DataFrame
        As from `spells`; of one bout or of many.

    Returns
    -------
    DataFrame
        Columns position, side, seconds, share (of all seconds given), visits, longest_s; the
        longest time first.
    """
    table = spells.groupby(["position", "side"], as_index=False).agg(
        seconds=("seconds", "sum"), visits=("seconds", "size"), longest_s=("seconds", "max")
    )
    table.insert(3, "share", table["seconds"] / table["seconds"].sum())
    return table.sort_values("seconds", ascending=False, ignore_index=True)


def time_by_side(spells: pd.DataFrame) -> pd.Series:
    """Return seconds on top, on the bottom and neither."""
    return spells.groupby("side")["seconds"].sum().reindex(SIDES, fill_value=0.0)


def transitions(bouts: Sequence[StudyBout]) -> pd.DataFrame:
    """Return one row a change of position or side; across a gap nothing is concluded.

    Returns
    -------
    DataFrame
        Columns `TRANSITION_COLUMNS`.
    """
    rows = [
        (
            one.bout.id,
            after.start_s,
            after.start_s - one.bout.start_s,
            before.label,
            side_of(before.label, before.top, one.own),
            after.label,
            side_of(after.label, after.top, one.own),
        )
        for one in bouts
        for before, after in pairwise(_runs(one))
        if after.start_s - before.end_s <= TOUCHING_S
    ]
    return pd.DataFrame(rows, columns=list(TRANSITION_COLUMNS))


def transition_matrix(transitions: pd.DataFrame) -> pd.DataFrame:
    """Return how often each state (rows) led to each (columns): ``"mount, top"`` and so on."""
    before = transitions["from_position"] + _suffix(transitions["from_side"])
    after = transitions["to_position"] + _suffix(transitions["to_side"])
    states = sorted(set(before) | set(after))
    counts = pd.crosstab(before, after)
    return counts.reindex(index=states, columns=states, fill_value=0).rename_axis(
        index="from", columns="to"
    )


def entries_and_exits(transitions: pd.DataFrame) -> pd.DataFrame:
    """Return how each position was entered and left.

    Returns
    -------
    DataFrame
        Columns position, side, way ("entered from" or "left for"), other_position, other_side,
        times; the most frequent first within a position.
    """
    enter = transitions.rename(
        columns={
            "to_position": "position",
            "to_side": "side",
            "from_position": "other_position",
            "from_side": "other_side",
        }
    ).assign(way="entered from")
    leave = transitions.rename(
        columns={
            "from_position": "position",
            "from_side": "side",
            "to_position": "other_position",
            "to_side": "other_side",
        }
    ).assign(way="left for")
    keys = ["position", "side", "way", "other_position", "other_side"]
    both = pd.concat([enter, leave])[keys]
    counted = both.groupby(keys, as_index=False).size().rename(columns={"size": "times"})
    return counted.sort_values(
        ["position", "side", "way", "times"], ascending=[True, True, True, False], ignore_index=True
    )


def first_and_last(bouts: Sequence[StudyBout], settings: StudySettings) -> pd.DataFrame:
    """Return time in positions of each bout's first and last minute.

    Returns
    -------
    DataFrame
        Column part ("first" or "last"), then as from `time_in_positions`.
    """
    table, parts = spells(bouts), []
    ends = {b.bout.id: (b.bout.start_s, b.bout.end_s) for b in bouts}
    starts = table["bout"].map({k: v[0] for k, v in ends.items()})
    stops = table["bout"].map({k: v[1] for k, v in ends.items()})
    spans = {
        "first": (starts, starts + settings.edge_s),
        "last": (stops - settings.edge_s, stops),
    }
    for part, (low, high) in spans.items():
        end = table["end_s"].where(table["end_s"] < high, high)
        start = table["start_s"].where(table["start_s"] > low, low)
        inside = table.assign(seconds=end - start)
        inside = inside[inside["seconds"] > 0]
        parts.append(time_in_positions(inside).assign(part=part))
    return pd.concat(parts, ignore_index=True)[["part", *parts[0].columns.drop("part")]]


def _runs(one: StudyBout) -> list[Run]:
    return runs(one.timeline.segments, by_top=True)


def _suffix(sides: pd.Series) -> pd.Series:
    return sides.map({"top": ", top", "bottom": ", bottom", "neither": ""})
