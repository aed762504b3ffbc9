"""Segments and moments as CSV (RFC 4180, UTF-8), and back, also after a spreadsheet had them."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import fields
from typing import Any, TypeVar

from pipeline.errors import MatlineError
from pipeline.outputs.text import csv_line, guarded, seconds, unguarded
from pipeline.timeline import Moment, Segment, State, new_id
from pipeline.timeline.records import evidence_from_text, evidence_to_text

Row = TypeVar("Row", Segment, Moment)

SEGMENT_COLUMNS: tuple[str, ...] = tuple(f.name for f in fields(Segment))
MOMENT_COLUMNS: tuple[str, ...] = tuple(f.name for f in fields(Moment))
_TIMES = ("start_s", "peak_s", "end_s")
_REQUIRED = {
    Segment: ("start_s", "end_s", "position"),
    Moment: ("start_s", "peak_s", "end_s", "kind"),
}


def segments_to_csv(segments: Iterable[Segment]) -> str:
    """Return one line a segment; columns are `Segment`'s fields."""
    return _to_csv(segments, SEGMENT_COLUMNS)


def moments_to_csv(moments: Iterable[Moment]) -> str:
    """Return one line a moment; columns are `Moment`'s fields."""
    return _to_csv(moments, MOMENT_COLUMNS)


def segments_from_csv(text: str, known: Sequence[Segment] = ()) -> list[Segment]:
    """Read `segments_to_csv`, edited or not.

    Columns may come in any order; only start_s, end_s and position must be there. Comma, semicolon
    or tab may part them, times may be seconds or a clock. A line without id is the known segment
    with the same times, else a new one, as is a line with an id that was there before. What the
    file has no column for stays as it is known.

    Parameters
    ----------
    text : str
    known : sequence of Segment, optional
        What the timeline says now.

    Raises
    ------
    MatlineError
        Says which line and column is wrong.
    """
    return _from_csv(text, Segment, known)


def moments_from_csv(text: str, known: Sequence[Moment] = ()) -> list[Moment]:
    """Read `moments_to_csv`, edited or not; see `segments_from_csv`."""
    return _from_csv(text, Moment, known)


def holds_moments(text: str) -> bool:
    """Return whether a CSV is of moments, by its heading."""
    return "peak_s" in text.split("\n", 1)[0]


def _to_csv(rows: Iterable[Segment] | Iterable[Moment], columns: tuple[str, ...]) -> str:
    lines = [csv_line(columns)]
    lines += [csv_line(_cell(getattr(row, name)) for name in columns) for row in rows]
    return "".join(lines)


def _cell(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, State):
        return value.value
    if isinstance(value, float | int):
        return repr(round(float(value), 6))
    if isinstance(value, dict):
        return evidence_to_text(value)
    return guarded(str(value))


def _from_csv(text: str, kind: type[Row], known: Sequence[Row] = ()) -> list[Row]:
    text = text.removeprefix("\ufeff")
    reader = csv.DictReader(io.StringIO(text, newline=""), delimiter=_delimiter(text), strict=True)
    rows: list[Row] = []
    seen: set[str] = set()
    columns = [f.name for f in fields(kind)]
    known_at, known_ids = {_times(row): row for row in known}, {row.id: row for row in known}
    try:
        _check_heading(reader.fieldnames or [], kind)
        for cells in reader:
            if any(isinstance(cell, str) and cell.strip() for cell in cells.values()):
                cells = _filled(cells, known_at, known_ids, columns, seen)
                row = _read_row(cells, kind, reader.line_num, seen)
                seen.add(row.id)
                rows.append(row)
    except csv.Error as error:
        raise MatlineError(f"Line {reader.line_num}: not CSV ({error}).") from error
    return rows


def _filled(
    cells: dict[Any, Any],
    at: Mapping[tuple[str, ...], Row],
    by_id: Mapping[str, Row],
    columns: Sequence[str],
    seen: set[str],
) -> dict[Any, Any]:
    """Return a line with what it leaves out: the id by its times, other columns by its id."""
    id = unguarded(str(cells.get("id") or "")).strip()
    if not id:
        try:
            times = tuple(_cell(seconds(cells[n])) for n in _TIMES if n in cells)
        except (ValueError, AttributeError, TypeError):
            return cells  # reading the line says what is wrong with it
        id = at[times].id if times in at and at[times].id not in seen else ""
    known = by_id.get(id)
    if known is None or id in seen:
        return cells
    left_out = {n: _cell(getattr(known, n)) for n in columns if n not in cells}
    return cells | left_out | {"id": _cell(id)}


def _times(row: Segment | Moment) -> tuple[str, ...]:
    return tuple(_cell(getattr(row, name)) for name in _TIMES if hasattr(row, name))


def _delimiter(text: str) -> str:
    heading = text.split("\n", 1)[0]
    return max(",;\t", key=heading.count)


def _check_heading(heading: Iterable[str], kind: type[Row]) -> None:
    columns = list(heading)
    known = [f.name for f in fields(kind)]
    missing = [name for name in _REQUIRED[kind] if name not in columns]
    if missing:
        raise MatlineError(
            f"Line 1: the column {', '.join(missing)} is missing; "
            f"a file of {kind.__name__.lower()}s has {', '.join(known)}."
        )
    unknown = [name for name in columns if name not in known]
    if unknown:
        raise MatlineError(f"Line 1: unknown column {', '.join(unknown)}; remove it.")


def _read_row(cells: Mapping[Any, Any], kind: type[Row], line: int, seen: set[str]) -> Row:
    if None in cells or None in cells.values():
        raise MatlineError(f"Line {line}: it doesn't have as many cells as the heading.")
    values: dict[str, Any] = {}
    for name, cell in cells.items():
        if cell == "" and name not in ("top", "athlete", "note"):
            continue
        try:
            values[name] = _READ[name](cell)
        except ValueError:
            raise MatlineError(f"Line {line}: “{cell}” is no {name}.") from None
    if values.get("id", "") in seen:
        values["id"] = new_id()
    try:
        return kind(**values)
    except TypeError:
        missing = [name for name in _REQUIRED[kind] if name not in values]
        raise MatlineError(f"Line {line}: {', '.join(missing)} is empty.") from None
    except MatlineError as error:
        raise MatlineError(f"Line {line}: {error}") from error


def _who(text: str) -> str | None:
    return text.strip().upper() or None


_READ: dict[str, Callable[[str], Any]] = {
    "start_s": seconds,
    "peak_s": seconds,
    "end_s": seconds,
    "strength": seconds,
    "confidence": seconds,
    "position": lambda text: unguarded(text).strip(),
    "kind": lambda text: unguarded(text).strip(),
    "top": _who,
    "athlete": _who,
    "state": lambda text: State(text.strip().lower()),
    "note": unguarded,
    "evidence": evidence_from_text,
    "id": lambda text: unguarded(text).strip(),
}
