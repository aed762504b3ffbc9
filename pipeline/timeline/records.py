"""A timeline as plain dicts, and back: the form that JSON keeps."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, fields
from typing import Any, TypeVar

from pipeline.errors import MatlineError
from pipeline.timeline.model import Moment, Segment, State, Timeline

LARGEST = 1e12
"""No number of a timeline is larger: in seconds, more than thirty thousand years."""

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
        data = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise MatlineError(f"A timeline must be JSON; {error}.") from error
    return timeline_from_dict(data)


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
    found = {name.strip(): float(value) for name, _, value in parts}
    if not all(map(_is_number, found.values())):
        raise ValueError(f"{text} has a number that is none")
    return found


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
    for name, value in values.items():
        _check_field(value, name, what)
    try:
        if "state" in values:
            values["state"] = State(values["state"])
        return kind(**values)
    except MatlineError as error:
        raise MatlineError(f"{what}: {error}") from error
    except (TypeError, ValueError) as error:
        raise MatlineError(f"{what}: {error}.") from error


_TEXTS = frozenset({"position", "kind", "note", "id", "state"})
_WHO = frozenset({"top", "athlete"})


def _check_field(value: object, name: str, what: str) -> None:
    if name in _TEXTS or (name in _WHO and value is not None):
        fits = isinstance(value, str) and _is_text(value)
    elif name == "evidence":
        fits = isinstance(value, Mapping) and all(
            isinstance(key, str) and _is_text(key) and _is_number(number)
            for key, number in value.items()
        )
    else:
        fits = name in _WHO or _is_number(value)
    if not fits:
        shown = repr(value) if len(str(value)[:61]) <= 60 else f"{str(value)[:60]}…"
        raise MatlineError(f"{what}: {name} can't be {shown}.")


def _is_text(text: str) -> bool:
    """Return whether a text can be written: not with half a character (a lone surrogate)."""
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:
        return False
    return True


def _is_number(value: object) -> bool:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return False
    return abs(value) <= LARGEST  # so neither NaN nor infinite, nor an integer without end
