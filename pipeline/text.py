"""Text to show: what comes from outside made safe, counts with their nouns."""

from __future__ import annotations

import unicodedata

_SPACES = frozenset("\t\n\v\f\r\x1c\x1d\x1e\x1f\x85\u2028\u2029")


def printable(text: str) -> str:
    """Return a text as it may be printed or sent: on one line, and without control characters.

    File names may hold any bytes: those that aren't UTF-8 (Python keeps them as lone surrogates,
    PEP 383), and codes that would steer a terminal, are shown as ``�``.

    Examples
    --------
    >>> printable("mat 1\\nfinal\\udcff.mp4")
    'mat 1 final�.mp4'
    """
    if text.isprintable():
        return text
    return "".join(map(_shown, text))


def counted(count: int, noun: str) -> str:
    """Return a count with its noun: ``"1 bout"``, ``"2 bouts"``."""
    return f"{count} {noun}{'s' * (count != 1)}"


def _shown(character: str) -> str:
    if character in _SPACES:
        return " "
    return "�" if unicodedata.category(character) in ("Cc", "Cs") else character
