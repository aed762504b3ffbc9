"""Everything that is counted over one bout or many, as tidy tables."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from pipeline.errors import MatlineError
from pipeline.library import written_whole
from pipeline.outputs.study.attempts import attempts, elevations, rates
from pipeline.outputs.study.score import points
from pipeline.outputs.study.selection import StudyBout
from pipeline.outputs.study.spells import (
    entries_and_exits,
    first_and_last,
    spells,
    time_by_side,
    time_in_positions,
    transitions,
)
from pipeline.outputs.text import guarded
from pipeline.settings import StudySettings


@dataclass(frozen=True)
class Study:
    """What was counted; make one with `Study.of`.

    Attributes
    ----------
    bouts : tuple of StudyBout
        At least one, by date.
    spells, transitions, attempts, elevations, points : DataFrame
        One row an observation; columns as their functions say.
    settings : StudySettings
    """

    bouts: tuple[StudyBout, ...]
    spells: pd.DataFrame
    transitions: pd.DataFrame
    attempts: pd.DataFrame
    elevations: pd.DataFrame
    points: pd.DataFrame
    settings: StudySettings

    @classmethod
    def of(cls, bouts: Sequence[StudyBout], settings: StudySettings | None = None) -> Study:
        """Count.

        Raises
        ------
        MatlineError
            If nothing counts: no segment is in a state asked for.
        """
        settings = settings or StudySettings()
        if not any(b.timeline.segments for b in bouts):
            raise MatlineError(
                "Nothing to study yet: no segment of these bouts was accepted or corrected; "
                "do that in `matline review`, or ask for proposals too."
            )
        return cls(
            tuple(bouts),
            spells(bouts),
            transitions(bouts),
            attempts(bouts, settings),
            elevations(bouts, settings),
            points(bouts),
            settings,
        )

    @property
    def rates(self) -> pd.DataFrame:
        """Attempts held of each kind, by own athlete and opponent; see `rates`."""
        known = self.attempts[self.attempts["by"] != ""]
        return rates(known, ("kind", "by"), self.settings)

    @property
    def trends(self) -> pd.DataFrame:
        """The own athlete's rates event by event, in order of the events' first bout."""
        own = self.attempts[(self.attempts["by"] == "own") & (self.attempts["event"] != "")]
        order = {event: number for number, event in enumerate(self.events)}
        table = rates(own, ("event", "kind"), self.settings)
        return table.sort_values("event", key=lambda e: e.map(order), ignore_index=True)

    @property
    def events(self) -> list[str]:
        """Events in order of their first bout."""
        return list(dict.fromkeys(b.bout.event for b in self.bouts if b.bout.event))

    def bout_table(self) -> pd.DataFrame:
        """Return one row a bout: who, where, when, how much of it counts, and time by side."""
        return pd.DataFrame([self._bout_row(b) for b in self.bouts])

    def tables(self) -> dict[str, pd.DataFrame]:
        """Return every table by name; the report's numbers are these."""
        return {
            "bouts": self.bout_table(),
            "spells": self.spells,
            "time_in_positions": time_in_positions(self.spells),
            "first_and_last": first_and_last(self.bouts, self.settings),
            "transitions": self.transitions,
            "entries_and_exits": entries_and_exits(self.transitions),
            "attempts": self.attempts,
            "rates": self.rates,
            "elevations": self.elevations,
            "points": self.points,
            "trends": self.trends,
        }

    def write_csv(self, folder: Path) -> list[Path]:
        """Write every table as a CSV file of its name; return the files."""
        paths = []
        for name, table in self.tables().items():
            path = folder / f"{name}.csv"
            with written_whole(path) as part:
                _safe(table).round(6).to_csv(part, index=False, lineterminator="\r\n")
            paths.append(path)
        return paths

    def _points(self, one: StudyBout, who: str) -> int:
        mine = (self.points["bout"] == one.bout.id) & (self.points["by"] == who)
        return int(self.points.loc[mine, "points"].sum())

    def _bout_row(self, one: StudyBout) -> dict[str, object]:
        own, opponent = one.names
        sides = time_by_side(self.spells[self.spells["bout"] == one.bout.id])
        return {
            "bout": one.bout.id,
            "title": one.bout.title,
            "own": own,
            "opponent": opponent,
            "event": one.bout.event,
            "date": one.bout.date,
            "ruleset": one.bout.ruleset,
            "length_s": one.bout.end_s - one.bout.start_s,
            "studied_s": one.studied_s,
            "top_s": sides["top"],
            "bottom_s": sides["bottom"],
            "neither_s": sides["neither"],
            "own_points": self._points(one, "own"),
            "opponent_points": self._points(one, "opponent"),
            "left_out_s": one.left_out_s,
            "left_out_moments": one.left_out_moments,
        }


def _safe(table: pd.DataFrame) -> pd.DataFrame:
    """Return the table with no text that a spreadsheet would run."""
    return table.map(lambda value: guarded(value) if isinstance(value, str) else value)
