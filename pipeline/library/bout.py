"""A bout as the library knows it."""

from __future__ import annotations

import json
import os
import sqlite3
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import unquote_to_bytes

from pipeline.errors import MatlineError
from pipeline.moments import known_rules
from pipeline.timeline import Athlete, State, Timeline

_URI = "file://"

DETAILS: tuple[str, ...] = (
    "title", "names", "we", "event", "date", "ruleset", "proxy", "footage", "start_s", "end_s",
)  # fmt: skip
"""What `Library.update_bout` may change."""


@dataclass(frozen=True)
class Bout:
    """One bout: a stretch of a footage file, who fights, and how far the work on it is.

    Attributes
    ----------
    id : str
    title : str
    footage : Path
        The original file; the library never writes to it.
    content_key : str
        Says whether two files hold the same; a moved file keeps it.
    duration_s : float
        Of the footage, seconds.
    start_s, end_s : float
        Where the bout lies in the footage. All times of a timeline are the footage's.
    names : dict
        ``{"A": …, "B": …}``; empty text where not given.
    we : {"A", "B", None}
        Which athlete is ours.
    event, date, ruleset : str
        As the user wrote them; date is ISO 8601 where given.
    proxy : Path or None
        A copy a browser can play, where one was made.
    reader : str
        What read it; empty before the first reading.
    settings_hash : str
        The settings it was read with.
    counts : dict
        ``{"proposed": n, "accepted": n, "corrected": n}``, segments and moments together.
    revision : int
        Lines in the journal of its reading.
    """

    id: str
    title: str
    footage: Path
    content_key: str
    duration_s: float
    start_s: float
    end_s: float
    names: dict[str, str]
    we: Athlete | None
    event: str
    date: str
    ruleset: str
    proxy: Path | None
    reader: str
    settings_hash: str
    counts: dict[str, int]
    revision: int


def bout_of(row: sqlite3.Row) -> Bout:
    """Return the `Bout` of a database row."""
    return Bout(
        id=row["id"],
        title=row["title"],
        footage=_path_of(row["footage"]),
        content_key=row["content_key"],
        duration_s=row["duration_s"],
        start_s=row["start_s"],
        end_s=row["end_s"],
        names={"A": row["name_a"], "B": row["name_b"]},
        we=row["we"],
        event=row["event"],
        date=row["date"],
        ruleset=row["ruleset"],
        proxy=_path_of(row["proxy"]) if row["proxy"] else None,
        reader=row["reader"] or "",
        settings_hash=row["settings_hash"] or "",
        counts=json.loads(row["counts"]) or count_states(Timeline()),
        revision=row["revision"],
    )


def count_states(timeline: Timeline) -> dict[str, int]:
    """Return how many segments and moments are in each state."""
    found = Counter(s.state for s in timeline.segments)
    found.update(m.state for m in timeline.moments)
    return {state.value: found[state] for state in State}


def columns_of(details: Mapping[str, Any]) -> dict[str, Any]:
    """Check a bout's details and return them as database columns.

    Raises
    ------
    MatlineError
        If a name is not one of `DETAILS`, or a value doesn't fit.
    """
    columns: dict[str, Any] = {}
    for name, value in details.items():
        if name not in DETAILS:
            raise MatlineError(f"A bout has no “{name}”; it has {', '.join(DETAILS)}.")
        if name == "names":
            columns |= _names(value)
        elif name == "ruleset":
            columns[name] = known_rules(value)
        elif name == "we" and value not in (None, "A", "B"):
            raise MatlineError(f"We are athlete A, B or nobody, not “{value}”.")
        elif name in ("footage", "proxy"):
            columns[name] = None if value is None else path_column(value)
        else:
            columns[name] = value
    return columns


def path_column(path: str | Path) -> str:
    """Return a path as the database keeps it: a file URI (RFC 8089) where it isn't UTF-8."""
    try:
        str(path).encode("utf-8")
    except UnicodeEncodeError:
        return Path(path).absolute().as_uri()
    return str(path)


def _path_of(column: str) -> Path:
    if column.startswith(_URI):
        return Path(os.fsdecode(unquote_to_bytes(column.removeprefix(_URI))))
    return Path(column)


def _names(names: object) -> dict[str, str]:
    if not isinstance(names, Mapping) or not set(names) <= {"A", "B"}:
        raise MatlineError("The athletes' names go by A and B.")
    return {f"name_{athlete.lower()}": str(name) for athlete, name in names.items()}
