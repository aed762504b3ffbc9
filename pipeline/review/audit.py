"""How good the confident proposals are: a hidden random check."""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass

import numpy as np

from pipeline.review.trace import swapped
from pipeline.settings import ReviewSettings
from pipeline.timeline import Segment, State, Timeline, coarse


@dataclass(frozen=True)
class Audit:
    """How good the confident proposals are, by those that were checked.

    Attributes
    ----------
    chosen, answered, right : int
    low, high : float
        95 % interval (Wilson) of the share that is right, the unchecked ones included.
    """

    chosen: int
    answered: int
    right: int
    low: float
    high: float


def audited(proposal: Timeline, bout_id: str, settings: ReviewSettings) -> list[Segment]:
    """Choose confident segments to check, at random but always the same ones.

    The lowest hashes of bout and segment are chosen: nothing about what a segment shows, or
    about what a human would rather look at, decides.
    """
    confident = [s for s in proposal.segments if s.confidence >= settings.confident]
    share = math.ceil(settings.audit_share * len(confident))
    count = min(len(confident), max(settings.audit_least, min(share, settings.audit_most)))
    return sorted(confident, key=lambda s: _hash(bout_id, s.id))[:count]


def _hash(bout_id: str, segment_id: str) -> bytes:
    return hashlib.sha256(f"{bout_id}/{segment_id}".encode()).digest()


def audit(chosen: list[Segment], timeline: Timeline, swaps: list[float]) -> Audit:
    """Compare audited proposals with what the human made of them.

    A proposal is answered when what now holds its middle was accepted or corrected, and right
    when that names the same position and top athlete (athletes exchanged as the human said).
    """
    answered = right = 0
    for segment in chosen:
        middle = (segment.start_s + segment.end_s) / 2
        now = timeline.at(middle)
        if now is not None and now.state is State.PROPOSED:
            continue
        touched = now is not None or _was_looked_at(timeline, middle)
        answered += touched
        right += now is not None and _same(segment, now, bool(swapped(np.array([middle]), swaps)))
    low, high = wilson(right, answered)
    return Audit(len(chosen), answered, right, low, high)


def _was_looked_at(timeline: Timeline, time_s: float) -> bool:
    """A gap where a proposal was can only be a human's; outside the bout it answers nothing."""
    segments = timeline.segments
    return bool(segments) and segments[0].start_s <= time_s < segments[-1].end_s


def _same(proposed: Segment, now: Segment, turned: bool) -> bool:
    top = {"A": "B", "B": "A"}.get(proposed.top or "") if turned else proposed.top
    return coarse(proposed.position) == coarse(now.position) and top == now.top


def wilson(right: int, count: int, z: float = 1.959964) -> tuple[float, float]:
    """Return the Wilson score interval of a share (Wilson 1927, JASA 22:209–212).

    Examples
    --------
    >>> [round(x, 3) for x in wilson(81, 263)]  # Newcombe 1998, Stat Med 17:857, table I
    [0.255, 0.366]
    """
    if count == 0:
        return 0.0, 1.0
    share = right / count
    middle = share + z * z / (2 * count)
    half = z * math.sqrt(share * (1 - share) / count + z * z / (4 * count * count))
    scale = 1 + z * z / count
    return max(0.0, (middle - half) / scale), min(1.0, (middle + half) / scale)
