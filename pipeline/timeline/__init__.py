"""The model that all rooms share: segments, moments, timelines, and the trade's words.

This room imports nothing of the others.
"""

from pipeline.timeline.model import (
    ATHLETES,
    Athlete,
    Moment,
    Segment,
    State,
    Timeline,
    new_id,
    other,
)
from pipeline.timeline.vocabulary import (
    ATTEMPT_SUFFIX,
    BY_KEY,
    MOMENT_KINDS,
    POSITION_KEYS,
    POSITIONS,
    UNKNOWN,
    Position,
    coarse,
    position,
)

__all__ = [
    "ATHLETES",
    "ATTEMPT_SUFFIX",
    "BY_KEY",
    "MOMENT_KINDS",
    "POSITIONS",
    "POSITION_KEYS",
    "UNKNOWN",
    "Athlete",
    "Moment",
    "Position",
    "Segment",
    "State",
    "Timeline",
    "coarse",
    "new_id",
    "other",
    "position",
]
