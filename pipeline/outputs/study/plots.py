"""The report's pictures: SVG text, in colours that colour-blind readers tell apart."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib import rc_context
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, MaxNLocator, PercentFormatter

from pipeline.outputs.study.score import running_score
from pipeline.outputs.study.selection import StudyBout
from pipeline.outputs.study.spells import SIDES, side_of
from pipeline.timeline import ATTEMPT_SUFFIX, clock, position
from pipeline.timeline.compare import runs

SIDE_COLOURS = {"top": "#0072B2", "bottom": "#E69F00", "neither": "#999999"}
"""From the palette of Okabe & Ito, “Color Universal Design” (2008)."""
BY_COLOURS = {"own": "#0072B2", "opponent": "#D55E00"}
_MARKS = {"own": "o", "opponent": "s"}
_WIDTH_IN = 7.2
"""Text width of an A4 page with 14 mm margins."""
_STYLE: Any = {
    "font.family": "sans-serif",
    "font.size": 9,
    "svg.fonttype": "none",  # text stays text: searchable, and small
    "text.parse_math": False,  # a dollar in a name is a dollar
    "svg.hashsalt": "matline",  # the same numbers give the same file
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.axisbelow": True,
    "legend.frameon": False,
}


def words(kind: str) -> str:
    """Return a key as words: ``"guard_pass"`` → ``"guard pass"``."""
    return kind.replace("_", " ")


def timeline_strip(one: StudyBout) -> str:
    """Return one bout as an SVG: a row a position, coloured by side, attempts marked above."""
    pieces = runs(one.timeline.segments, by_top=True)
    labels = list(dict.fromkeys(p.label for p in pieces))
    with rc_context(_STYLE):
        figure, axes = _axes(0.9 + 0.22 * len(labels))
        for piece in pieces:
            side = side_of(piece.label, piece.top, one.own)
            axes.broken_barh(
                [(piece.start_s - one.bout.start_s, piece.end_s - piece.start_s)],
                (labels.index(piece.label) - 0.4, 0.8),
                color=SIDE_COLOURS[side],
            )
        _mark_attempts(axes, one)
        axes.set_yticks(range(len(labels)), [position(label).name for label in labels])
        axes.set_ylim(len(labels) - 0.4, -1.6)
        axes.set_xlim(0, one.bout.end_s - one.bout.start_s)
        axes.grid(axis="x", color="#dddddd")
        _clock_axis(axes)
        _side_legend(axes)
        return _svg(figure)


def time_bars(table: pd.DataFrame) -> str:
    """Return time in positions as an SVG of stacked bars, the longest first.

    Parameters
    ----------
    table : DataFrame
        As from `time_in_positions`.
    """
    wide = table.pivot_table(
        index="position", columns="side", values="seconds", aggfunc="sum", fill_value=0.0
    ).reindex(columns=list(SIDES), fill_value=0.0)
    wide = wide.loc[wide.sum(axis=1).sort_values(ascending=False).index]
    with rc_context(_STYLE):
        figure, axes = _axes(0.8 + 0.26 * len(wide))
        left = np.zeros(len(wide))
        for side in SIDES:
            seconds = wide[side].to_numpy()
            axes.barh(range(len(wide)), seconds, 0.75, left=left, color=SIDE_COLOURS[side])
            left += seconds
        for row, whole in enumerate(left):
            axes.text(whole, row, f"  {clock(whole)}", va="center")
        axes.set_yticks(range(len(wide)), [position(str(p)).name for p in wide.index])
        axes.invert_yaxis()
        axes.margins(x=0.1)
        _clock_axis(axes, "time (min:s)")
        _side_legend(axes)
        return _svg(figure)


def matrix_map(matrix: pd.DataFrame) -> str:
    """Return the transition matrix as an SVG: numbers on a map of how frequent each is."""
    count = len(matrix)
    with rc_context(_STYLE | {"font.size": 8 if count <= 12 else 6.5}):
        side = min(_WIDTH_IN, 2.2 + 0.36 * count)
        figure = Figure(figsize=(side, side * 0.92), layout="constrained")
        axes = figure.subplots()
        values = matrix.to_numpy()
        # The palette ends well before its darkest blue, so that black numbers stay readable.
        # Drawn as shapes, not as an image: sharp on paper, and no data address in the page.
        most = 2 * max(2, values.max())
        places = np.arange(count)
        axes.pcolormesh(places, places, values, cmap="Blues", vmin=0, vmax=most, shading="nearest")
        axes.invert_yaxis()
        axes.set_aspect("equal")
        for row, column in zip(*np.nonzero(values), strict=True):
            axes.text(column, row, str(values[row, column]), ha="center", va="center")
        names = [_state_name(str(label)) for label in matrix.index]
        axes.set_xticks(range(count), names, rotation=90)
        axes.set_yticks(range(count), names)
        axes.set_xlabel("to")
        axes.set_ylabel("from")
        return _svg(figure)


def rate_dots(rates: pd.DataFrame, names: Sequence[str] = ("own", "opponent")) -> str:
    """Return attempts held as an SVG: a dot and its interval for each kind and athlete.

    Parameters
    ----------
    rates : DataFrame
        As from `rates` with kind and by.
    names : pair of str
        What to call the own athlete and the opponent.
    """
    kinds = list(dict.fromkeys(rates["kind"]))
    with rc_context(_STYLE):
        figure, axes = _axes(0.9 + 0.42 * len(kinds))
        for (who, colour), name, shift in zip(
            BY_COLOURS.items(), names, (-0.16, 0.16), strict=True
        ):
            rows = rates[rates["by"] == who]
            places = [kinds.index(kind) + shift for kind in rows["kind"]]
            _dots(axes, rows, places, colour, _MARKS[who], name)
            for place, row in zip(places, rows.itertuples(), strict=True):
                axes.text(1.04, place, f"{row.held} of {row.attempts}", va="center", color=colour)
        axes.set_yticks(range(len(kinds)), [words(kind) for kind in kinds])
        axes.set_ylim(len(kinds) - 0.5, -0.5)
        axes.set_xlim(-0.02, 1.02)
        axes.xaxis.set_major_formatter(PercentFormatter(1))
        axes.grid(axis="x", color="#dddddd")
        axes.legend(loc="lower left", bbox_to_anchor=(0, 1), ncols=2)
        return _svg(figure)


def score_lines(study_bouts: Sequence[StudyBout], points: pd.DataFrame) -> str:
    """Return points over the clock as an SVG: both scores of one bout, else the lead in each.

    Parameters
    ----------
    study_bouts : sequence of StudyBout
    points : DataFrame
        As from `points`.
    """
    with rc_context(_STYLE):
        figure, axes = _axes(2.4)
        for one in study_bouts:
            length_s = one.bout.end_s - one.bout.start_s
            score = running_score(points, one.bout.id, length_s)
            if len(study_bouts) > 1:
                lead = score["own"] - score["opponent"]
                axes.step(score["clock_s"], lead, where="post", color="#0072B2", lw=1, alpha=0.6)
                continue
            for (who, colour), name in zip(BY_COLOURS.items(), one.names, strict=True):
                style = "-" if who == "own" else "--"
                axes.step(
                    score["clock_s"], score[who], style, where="post", color=colour, label=name
                )
        if len(study_bouts) == 1:
            axes.legend(loc="lower left", bbox_to_anchor=(0, 1), ncols=2)
        else:
            axes.axhline(0, color="#555555", lw=0.8)
        axes.set_ylabel("points" if len(study_bouts) == 1 else "lead (points)")
        axes.yaxis.set_major_locator(MaxNLocator(integer=True))
        axes.set_xlim(left=0)
        axes.grid(axis="y", color="#dddddd")
        _clock_axis(axes)
        return _svg(figure)


def trend_lines(trends: pd.DataFrame, events: Sequence[str]) -> str:
    """Return rates over events as an SVG: a panel a kind, each dot with its interval."""
    kinds = list(dict.fromkeys(trends["kind"]))
    columns = min(3, len(kinds))
    rows = -(-len(kinds) // columns)
    with rc_context(_STYLE):
        figure = Figure(figsize=(_WIDTH_IN, 0.5 + 1.7 * rows), layout="constrained")
        panels = figure.subplots(rows, columns, squeeze=False, sharex=True, sharey=True).flat
        for number, (axes, kind) in enumerate(zip(panels, kinds, strict=False)):
            part = trends[trends["kind"] == kind]
            x = [list(events).index(event) for event in part["event"]]
            error = [part["rate"] - part["low"], part["high"] - part["rate"]]
            axes.errorbar(x, part["rate"], error, fmt="o", color="#0072B2", lw=1, capsize=2)
            axes.set_title(words(kind), fontsize=9)
            axes.set_ylim(-0.04, 1.04)
            axes.yaxis.set_major_formatter(PercentFormatter(1))
            axes.set_xticks(range(len(events)), events, rotation=30, ha="right")
            axes.set_xlim(-0.5, len(events) - 0.5)
            axes.tick_params(labelbottom=number + columns >= len(kinds))
            axes.grid(axis="y", color="#dddddd")
        for axes in list(figure.axes)[len(kinds) :]:
            axes.set_visible(False)
        return _svg(figure)


def _axes(height_in: float) -> tuple[Figure, Axes]:
    figure = Figure(figsize=(_WIDTH_IN, height_in), layout="constrained")
    return figure, figure.subplots()


def _mark_attempts(axes: Axes, one: StudyBout) -> None:
    for moment in one.timeline.moments:
        held = not moment.kind.endswith(ATTEMPT_SUFFIX)
        who = "own" if moment.athlete == one.own else "opponent"
        colour = BY_COLOURS[who] if moment.athlete else "#555555"
        axes.plot(
            moment.peak_s - one.bout.start_s,
            -1.0,
            marker=_MARKS[who],
            color=colour,
            markerfacecolor=colour if held else "white",
            markersize=5,
            clip_on=False,
        )


def _dots(
    axes: Axes, rows: pd.DataFrame, places: Sequence[float], colour: str, mark: str, name: str
) -> None:
    error = [rows["rate"] - rows["low"], rows["high"] - rows["rate"]]
    axes.errorbar(
        rows["rate"], places, xerr=error, fmt=mark, color=colour, lw=1.2, capsize=2.5, label=name
    )


def _clock_axis(axes: Axes, label: str = "bout clock (min:s)") -> None:
    axes.xaxis.set_major_locator(MaxNLocator(nbins=9, steps=[1, 1.5, 3, 6, 10]))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda time_s, _: clock(time_s)))
    axes.set_xlabel(label)


def _side_legend(axes: Axes) -> None:
    handles = [axes.barh([0], [0], color=colour) for colour in SIDE_COLOURS.values()]
    axes.legend(handles, list(SIDE_COLOURS), loc="lower left", bbox_to_anchor=(0, 1), ncols=3)


def _state_name(state: str) -> str:
    label, _, side = state.partition(", ")
    return position(label).name + (f", {side}" if side else "")


def _svg(figure: Figure) -> str:
    out = io.StringIO()
    figure.savefig(out, format="svg", metadata={"Date": None})
    text = out.getvalue()
    return text[text.index("<svg") :]
