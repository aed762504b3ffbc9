"""The model that all rooms share: segments, moments, timelines, and the trade's words.

This room imports nothing of the others.
"""

from pipeline.timeline.actions import ACTIONS, CorrectionError
from pipeline.timeline.corrections import Correction, apply
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
from pipeline.timeline.times import clock
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
    "ACTIONS",
    "ATHLETES",
    "ATTEMPT_SUFFIX",
    "BY_KEY",
    "MOMENT_KINDS",
    "POSITIONS",
    "POSITION_KEYS",
    "UNKNOWN",
    "Athlete",
    "Correction",
    "CorrectionError",
    "Moment",
    "Position",
    "Segment",
    "State",
    "Timeline",
    "apply",
    "clock",
    "coarse",
    "new_id",
    "other",
    "position",
]
