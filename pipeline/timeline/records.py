"""A timeline as plain dicts, and back: the form that JSON keeps."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, fields
from typing import Any, TypeVar

from pipeline.errors import MatlineError
from pipeline.timeline.model import Moment, Segment, State, Timeline

Row = TypeVar("Row", Segment, Moment)


def timeline_to_dict(timeline: Timeline) -> dict[str, list[dict[str, Any]]]:
    """Return segments and moments as dicts with the dataclasses' field names."""
    return {
        "segments": [asdict(s) | {"state": s.state.value} for s in timeline.segments],
        "moments": [asdict(m) | {"state": m.state.value} for m in timeline.moments],
    }


def timeline_from_dict(data: object) -> Timeline:
    """Check and read what `timeline_to_dict` gave.

    Raises
    ------
    MatlineError
        If it isn't a timeline; says which row and what is wrong with it.
    """
    if not isinstance(data, Mapping):
        raise MatlineError("A timeline must have segments and moments.")
    return Timeline(
        tuple(_rows(data.get("segments", []), Segment, "Segment")),
        tuple(_rows(data.get("moments", []), Moment, "Moment")),
    )


def timeline_to_json(timeline: Timeline) -> str:
    """Return one line of JSON."""
    return json.dumps(timeline_to_dict(timeline), ensure_ascii=False, allow_nan=False)


def timeline_from_json(text: str) -> Timeline:
    """Check and read what `timeline_to_json` gave."""
    try:
        return timeline_from_dict(json.loads(text))
    except json.JSONDecodeError as error:
        raise MatlineError(f"A timeline must be JSON; {error}.") from error


def evidence_to_text(evidence: Mapping[str, float]) -> str:
    """Return a moment's numbers in one cell: ``"gain=0.31; held_s=0.6"``."""
    return "; ".join(f"{name}={value:g}" for name, value in evidence.items())


def evidence_from_text(text: str) -> dict[str, float]:
    """Read `evidence_to_text`.

    Raises
    ------
    ValueError
        If a part is not ``name=number``.
    """
    parts = (part.partition("=") for part in text.split(";") if part.strip())
    return {name.strip(): float(value) for name, _, value in parts}


def _rows(rows: object, kind: type[Row], what: str) -> list[Row]:
    if not isinstance(rows, list | tuple):
        raise MatlineError(f"The list of {what.lower()}s is missing.")
    return [_row(row, kind, f"{what} {number}") for number, row in enumerate(rows, start=1)]


def _row(row: object, kind: type[Row], what: str) -> Row:
    if not isinstance(row, Mapping):
        raise MatlineError(f"{what}: must be named values, not {type(row).__name__}.")
    known = {f.name for f in fields(kind)}
    unknown = [str(name) for name in row if name not in known]
    if unknown:
        raise MatlineError(f"{what}: unknown field {', '.join(unknown)}.")
    values = dict(row)
    try:
        if "state" in values:
            values["state"] = State(values["state"])
        return kind(**values)
    except MatlineError as error:
        raise MatlineError(f"{what}: {error}") from error
    except (TypeError, ValueError) as error:
        raise MatlineError(f"{what}: {error}.") from error
