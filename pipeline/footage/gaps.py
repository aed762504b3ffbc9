"""Stretches of a file without trustworthy pictures."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, order=True)
class Gap:
    """A stretch ``[start_s, end_s)`` in which no picture could be read, and why.

    It runs from the last good picture to the next one.
    """

    start_s: float
    end_s: float
    reason: str


def merged(gaps: Iterable[Gap]) -> tuple[Gap, ...]:
    """Return gaps in order, those that touch joined under the first one's reason."""
    result: list[Gap] = []
    for gap in sorted(gaps):
        if result and gap.start_s <= result[-1].end_s:
            last = result[-1]
            result[-1] = Gap(last.start_s, max(last.end_s, gap.end_s), last.reason)
        else:
            result.append(gap)
    return tuple(result)


def clipped(gap: Gap, start_s: float, end_s: float) -> Gap | None:
    """Return the part of a gap inside ``[start_s, end_s)``, or None."""
    start, end = max(gap.start_s, start_s), min(gap.end_s, end_s)
    return Gap(start, end, gap.reason) if end > start else None
