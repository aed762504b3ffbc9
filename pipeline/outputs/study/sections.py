"""The report's sections, each from a study's tables."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pandas as pd

from pipeline.moments import CAUTION
from pipeline.moments.outcomes import FROM_BELOW
from pipeline.outputs.study import plots
from pipeline.outputs.study.attempts import ATTEMPTED, rates
from pipeline.outputs.study.page import Picture, Section, ShownTable
from pipeline.outputs.study.plots import words
from pipeline.outputs.study.spells import (
    entries_and_exits,
    first_and_last,
    time_in_positions,
    transition_matrix,
)
from pipeline.outputs.study.study import Study
from pipeline.timeline import clock, position

MOST_WAYS = 4
"""Ways into or out of a position that the page names; the table of the same numbers has all."""
MOST_STRIPS = 12
"""Bouts drawn one by one; with more, the page would be longer than anyone reads."""

Shown = tuple[str, Callable[[Any], str], bool]


def sections(study: Study) -> list[Section]:
    """Return the sections that have something to show."""
    made = [
        _bouts(study),
        _time(study),
        _edges(study),
        _ways(study),
        _attempts(study),
        _elevations(study),
        _points(study),
        _trends(study),
    ]
    return [section for section in made if section.pictures or section.tables]


def _bouts(study: Study) -> Section:
    pictures = []
    if len(study.bouts) <= MOST_STRIPS:
        pictures = [
            Picture.of(
                plots.timeline_strip(one),
                "Positions over the bout, coloured by side. Dots above: attempts, rises and lifts "
                "(blue circle own, red square opponent; filled: held).",
                "" if len(study.bouts) == 1 else one.bout.title,
                said=number == 0,
            )
            for number, one in enumerate(b for b in study.bouts if b.timeline.segments)
        ]
    columns: dict[str, Shown] = {
        "title": ("bout", _short_unbroken, False),
        "own": ("own", str, False),
        "opponent": ("opponent", str, False),
        "event": ("event", str, False),
        "date": ("date", _unbroken, False),
        "length_s": ("length", clock, True),
        "studied_s": ("studied", clock, True),
        "top_s": ("top", clock, True),
        "bottom_s": ("bottom", clock, True),
        "own_points": ("points", str, True),
        "opponent_points": ("conceded", str, True),
    }
    if len(study.bouts) == 1:
        return Section("The bout", [], pictures)
    if len({one.names[0] for one in study.bouts}) == 1:
        del columns["own"]
    table = ShownTable.of(study.bout_table(), "Every bout of this report.", columns)
    return Section("Bout by bout", [], pictures, [table])


def _time(study: Study) -> Section:
    table = time_in_positions(study.spells)
    picture = Picture.of(plots.time_bars(table), "Time in each position, by side.")
    return Section(
        "Time in positions", [], [picture], [_time_table(table, "All that was studied.")]
    )


def _edges(study: Study) -> Section:
    seconds = study.settings.edge_s
    long = [b for b in study.bouts if b.bout.end_s - b.bout.start_s >= 2 * seconds]
    if not any(b.timeline.segments for b in long):
        return Section("First and last minute")
    table = first_and_last(long, study.settings)
    first, last = (
        table[table["part"] == part].set_index(["position", "side"])[["seconds", "share"]]
        for part in ("first", "last")
    )
    both = first.merge(
        last, how="outer", left_index=True, right_index=True, suffixes=("_first", "_last")
    ).fillna(0.0)
    both = both.sort_values("seconds_first", ascending=False).reset_index()
    columns: dict[str, Shown] = {
        "position": _POSITION,
        "side": _SIDE,
        "seconds_first": ("first", clock, True),
        "share_first": ("share", _percent, True),
        "seconds_last": ("last", clock, True),
        "share_last": ("share", _percent, True),
    }
    caption = (
        f"The first and the last {seconds:.0f} seconds of each bout of at least "
        f"{2 * seconds:.0f} seconds."
    )
    return Section("First and last minute", [], [], [ShownTable.of(both, caption, columns)])


def _ways(study: Study) -> Section:
    if study.transitions.empty:
        return Section("Ways from position to position")
    matrix = transition_matrix(study.transitions)
    picture = Picture.of(plots.matrix_map(matrix), "How often one position led to another.")
    caption = "How each position was entered and left most often."
    table = ShownTable.of(_way_lists(study.transitions), caption, _WAYS)
    return Section("Ways from position to position", [], [picture], [table])


def _way_lists(transitions: pd.DataFrame) -> pd.DataFrame:
    ways = entries_and_exits(transitions)
    ways["told"] = [
        f"{_state(w.other_position, w.other_side)} ×\u00a0{w.times}" for w in ways.itertuples()
    ]
    lists = ways.pivot_table(
        index=["position", "side"], columns="way", values="told", aggfunc=_first, fill_value=""
    )
    return lists.reset_index()


def _first(several: pd.Series) -> str:
    told = several.tolist()
    more = [f"{len(told) - MOST_WAYS} others"] if len(told) > MOST_WAYS + 1 else []
    return "; ".join([*told[: MOST_WAYS if more else None], *more])


def _attempts(study: Study) -> Section:
    section = Section("Attempts")
    if study.rates.empty:
        return section
    order = {kind: number for number, kind in enumerate(ATTEMPTED)}
    counted = study.rates.sort_values(
        ["kind", "by"], key=lambda c: c.map(order | {"own": 0, "opponent": 1}), ignore_index=True
    )
    names = (
        study.bouts[0].names if len(study.bouts) == 1 else (study.bouts[0].names[0], "opponents")
    )
    section.pictures.append(
        Picture.of(
            plots.rate_dots(counted, names),
            "Share of attempts that were held, with its interval of uncertainty.",
        )
    )
    section.tables.append(
        _rate_table(counted, "Attempts of each kind.", {"kind": _KIND, "by": _BY})
    )
    section.tables.extend(_own_attempts(study))
    if len(study.bouts) <= MOST_STRIPS:
        section.tables.append(_attempt_list(study))
    return section


def _own_attempts(study: Study) -> list[ShownTable]:
    own = study.attempts[study.attempts["by"] == "own"]
    if own.empty:
        return []
    after = own.assign(after=own["elevation"].map(lambda kind: words(kind) or "none"))
    after = after[after["kind"].isin(FROM_BELOW)]
    where: dict[str, Shown] = {
        "kind": _KIND,
        "from_position": ("from", _position, False),
        "from_side": _SIDE,
    }
    before: dict[str, Shown] = {"kind": _KIND, "after": ("elevation before", str, False)}
    places = rates(own, where, study.settings).sort_values(
        ["kind", "attempts"], ascending=[True, False]
    )
    return [
        _rate_table(places, "Own attempts, from where.", where),
        _rate_table(
            rates(after, before, study.settings),
            "Own attempts from below, with what came before.",
            before,
        ),
    ]


def _attempt_list(study: Study) -> ShownTable:
    columns: dict[str, Shown] = {
        "title": ("bout", str, False),
        "clock_s": ("clock", clock, True),
        "kind": _KIND,
        "by": _BY,
        "held": ("", lambda held: "held" if held else "not held", False),
        "from_position": ("from", _position, False),
        "elevation": ("elevation before", words, False),
        "later": (f"{study.settings.follow_s:.0f} s later", str, False),
        "followed_by": ("followed by", _followed, False),
        "note": ("note", str, False),
    }
    titles = {b.bout.id: b.bout.title for b in study.bouts}
    table = study.attempts.assign(title=study.attempts["bout"].map(titles))
    table["later"] = [
        _state(place, side) if place else "–"
        for place, side in zip(table["after_position"], table["after_side"], strict=True)
    ]
    if len(study.bouts) == 1:
        del columns["title"]
    for rare in ("elevation", "note"):
        if not table[rare].any():
            del columns[rare]
    return ShownTable.of(table, "Every attempt; sides are those of who attempts.", columns)


def _followed(followed: str) -> str:
    """Say who did it once for several things in a row."""
    runs: list[tuple[str, list[str]]] = []
    for one in filter(None, followed.split("; ")):
        kind, _, who = one.rstrip(")").partition(" (")
        if not runs or runs[-1][0] != who:
            runs.append((who, []))
        runs[-1][1].append(words(kind))
    return "; ".join(f"{who}: {', '.join(kinds)}" for who, kinds in runs)


def _elevations(study: Study) -> Section:
    if study.elevations.empty:
        return Section("Elevations")
    table = study.elevations.assign(held=study.elevations["led_to"] != "")
    keys: dict[str, Shown] = {
        "kind": _KIND,
        "by": _BY,
        "from_position": ("from", _position, False),
    }
    counted = rates(table, keys, study.settings).sort_values(
        ["by", "kind", "attempts"], ascending=[False, True, False]
    )
    text = (
        f"How many rises and lifts were followed within {study.settings.outcome_s:.0f} seconds by "
        "a sweep, reversal, stand-up or back take of the same athlete, or the attempt of one."
    )
    columns = keys | _rate_columns("elevations", "followed")
    return Section("Elevations", [text], [], [ShownTable.of(_with_interval(counted), "", columns)])


def _points(study: Study) -> Section:
    if study.points.empty:
        return Section("Proposed points")
    one = len(study.bouts) == 1
    picture = Picture.of(
        plots.score_lines(study.bouts, study.points),
        "Proposed points over the clock." if one else "Lead over the clock, a line a bout.",
    )
    counted = study.points.groupby(["kind", "by"], as_index=False).agg(
        times=("points", "size"), points=("points", "sum")
    )
    columns: dict[str, Shown] = {
        "kind": _KIND,
        "by": ("by", str, False),
        "times": ("times", str, True),
        "points": ("points", str, True),
    }
    rules = "; ".join(sorted(set(study.points["rules"])))
    table = ShownTable.of(counted, f"What for. Rules: {rules}.", columns)
    return Section("Proposed points", [CAUTION], [picture], [table])


def _trends(study: Study) -> Section:
    if len(study.events) < 2 or study.trends.empty:
        return Section("Over events")
    picture = Picture.of(
        plots.trend_lines(study.trends, study.events),
        "Own attempts held, event by event. Where intervals overlap widely, a rise or fall may be "
        "chance.",
    )
    columns: dict[str, Shown] = {"kind": _KIND, "event": ("event", str, False)}
    order = {kind: number for number, kind in enumerate(ATTEMPTED)}
    table = study.trends.sort_values("kind", key=lambda kind: kind.map(order), kind="stable")
    return Section("Over events", [], [picture], [_rate_table(table, "Own attempts.", columns)])


def _time_table(table: pd.DataFrame, caption: str) -> ShownTable:
    columns: dict[str, Shown] = {
        "position": _POSITION,
        "side": _SIDE,
        "seconds": ("time", clock, True),
        "share": ("share", _percent, True),
        "visits": ("visits", str, True),
        "longest_s": ("longest", clock, True),
    }
    return ShownTable.of(table, caption, columns)


def _rate_table(table: pd.DataFrame, caption: str, keys: dict[str, Shown]) -> ShownTable:
    return ShownTable.of(_with_interval(table), caption, keys | _rate_columns("attempts", "held"))


def _with_interval(table: pd.DataFrame) -> pd.DataFrame:
    bounds = zip(table["low"], table["high"], strict=True)
    return table.assign(interval=[f"{low * 100:.0f}–{high * 100:.0f} %" for low, high in bounds])


def _rate_columns(of: str, what: str) -> dict[str, Shown]:
    return {
        "attempts": (of, str, True),
        "held": (what, str, True),
        "rate": ("share", _percent, True),
        "interval": ("95 % interval", str, True),
        "few": ("", lambda few: "few" if few else "", False),
    }


def _position(key: str) -> str:
    return position(key).name if key else "not known"


def _side(side: str) -> str:
    return "" if side == "neither" else side


def _state(key: object, side: object) -> str:
    return " ".join(filter(None, (_position(str(key)), _side(str(side)))))


def _percent(share: float) -> str:
    return f"{share:.0%}"


def _unbroken(text: str) -> str:
    """Return text that no line ends in the middle of."""
    return text.replace("-", "\u2011").replace(" ", "\u00a0")


def _short_unbroken(text: str) -> str:
    return _unbroken(text) if len(text) <= 20 else text


_POSITION: Shown = ("position", _position, False)
_SIDE: Shown = ("side", _side, False)
_WAYS: dict[str, Shown] = {
    "position": _POSITION,
    "side": _SIDE,
    "entered from": ("entered from", str, False),
    "left for": ("left for", str, False),
}
_KIND: Shown = ("kind", words, False)
_BY: Shown = ("by", lambda by: by or "not said", False)
