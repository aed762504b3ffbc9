"""Text that travels: times as people write them, notes that stay text, file names that are safe."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable

from pipeline.errors import MatlineError

_STARTS_CELL, _RUNS = r"(\A|[;\t|\r\n])", r"(?=['=+\-@\t\r])"
_RUN, _GUARDED = re.compile(_STARTS_CELL + _RUNS), re.compile(f"{_STARTS_CELL}'{_RUNS}")
_ENDS_CELLS = frozenset(',;\t|"\r\n')
_CLOCK = re.compile(r"(?:(\d+):)?(\d{1,2}):(\d{1,2}(?:\.\d+)?)")


def clock(time_s: float) -> str:
    """Return a time as WebVTT writes it: ``01:02:03.456``."""
    milliseconds = round(time_s * 1000)
    minutes, milliseconds = divmod(milliseconds, 60_000)
    hours, minutes = divmod(minutes, 60)
    return f"{hours:02d}:{minutes:02d}:{milliseconds // 1000:02d}.{milliseconds % 1000:03d}"


def seconds(text: str) -> float:
    """Read seconds (``62.5``, ``62,5``) or a clock (``1:02.5``, ``00:01:02.500``).

    Raises
    ------
    ValueError
        If it is neither.
    """
    text = text.strip().replace(",", ".")
    found = _CLOCK.fullmatch(text)
    if found:
        hours, minutes, rest = found.groups()
        return _finite(float(hours or 0) * 3600 + int(minutes) * 60 + float(rest))
    return _finite(float(text))


def _finite(number: float) -> float:
    if not math.isfinite(number):
        raise ValueError(f"{number} is no number")
    return number


def guarded(text: str) -> str:
    """Return text that no spreadsheet takes for a formula; `unguarded` gives it back.

    Spreadsheets run a cell that starts with ``=``, ``+``, ``-``, ``@``, tab or return (OWASP, "CSV
    injection"); an apostrophe before it keeps it text. So also after what some spreadsheet, set to
    another country, takes for the end of a cell.
    """
    return _RUN.sub(r"\1'", text)


def unguarded(text: str) -> str:
    """Return what `guarded` was given."""
    return _GUARDED.sub(r"\1", text)


def csv_line(cells: Iterable[str]) -> str:
    """Return one line of a CSV file (RFC 4180).

    A cell with any mark that some spreadsheet takes for the end of a cell is quoted, not only one
    with a comma: what follows the mark must not become a cell that runs.
    """
    quoted = ('"{}"'.format(c.replace('"', '""')) if set(c) & _ENDS_CELLS else c for c in cells)
    return ",".join(quoted) + "\r\n"


def file_stem(title: str, bout_id: str) -> str:
    """Return a name any file system takes; the bout's id at its end says whose file it is."""
    plain = re.sub(r"[^\w]+", "-", title).strip("-_")[:60].rstrip("-_")
    return f"{plain}-{bout_id}" if plain else bout_id


def bad_file(path: object, error: Exception) -> MatlineError:
    """Return the sentence for a file that can't be read back."""
    return MatlineError(f"{path}: {error}")
