"""Features → probabilities → segments.

`PositionModel` says how likely each position is at each sample, and who is on top; `decode`
turns that into segments with confidences.
"""

from pipeline.positions.decode import Border, Decoding, decode
from pipeline.positions.model import PositionModel
from pipeline.positions.states import STATES, by_position, top_probability

__all__ = [
    "STATES",
    "Border",
    "Decoding",
    "PositionModel",
    "by_position",
    "decode",
    "top_probability",
]
