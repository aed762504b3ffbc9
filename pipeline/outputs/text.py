"""Text that travels: times as people write them, notes that stay text, file names that are safe."""

from __future__ import annotations

import re

from pipeline.errors import MatlineError

_RUN_BY_SPREADSHEETS = ("=", "+", "-", "@", "\t", "\r")
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
        return int(hours or 0) * 3600 + int(minutes) * 60 + float(rest)
    return float(text)


def guarded(text: str) -> str:
    """Return text that no spreadsheet takes for a formula; `unguarded` gives it back.

    Spreadsheets run a cell that starts with ``=``, ``+``, ``-``, ``@``, tab or return (OWASP, "CSV
    injection"); an apostrophe before it keeps it text.
    """
    return f"'{text}" if text.startswith((*_RUN_BY_SPREADSHEETS, "'")) else text


def unguarded(text: str) -> str:
    """Return what `guarded` was given."""
    return (
        text[1:] if text[:1] == "'" and text[1:].startswith((*_RUN_BY_SPREADSHEETS, "'")) else text
    )


def file_stem(title: str, bout_id: str) -> str:
    """Return a name any file system takes; the bout's id at its end says whose file it is."""
    plain = re.sub(r"[^\w]+", "-", title).strip("-_")[:60].rstrip("-_")
    return f"{plain}-{bout_id}" if plain else bout_id


def bad_file(path: object, error: Exception) -> MatlineError:
    """Return the sentence for a file that can't be read back."""
    return MatlineError(f"{path}: {error}")
