"""Feature tables and segments written by hand, whose moments follow from the definitions."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.geometry import FEATURE_NAMES
from pipeline.timeline import Segment

LYING, KNEELING = 0.4, 1.6  # shoulder heights in trunk lengths


def table(times: np.ndarray, **columns) -> pd.DataFrame:
    """A still feature table: B lies under A, with columns replaced."""
    frame = pd.DataFrame(np.nan, index=pd.Index(times, name="time_s"), columns=list(FEATURE_NAMES))
    still = {
        "a_shoulder_height": KNEELING, "b_shoulder_height": LYING,
        "a_hip_height": 0.8, "b_hip_height": 0.2,
        "a_knee_angle_max": 70.0, "b_knee_angle_max": 90.0,
        "a_foot_height_low": 0.05, "b_foot_height_low": 0.4,
        "a_trunk_confidence": 0.9, "b_trunk_confidence": 0.9,
        "pair_horizontal_overlap": 0.8,
    }  # fmt: skip
    for name, value in (still | columns).items():
        frame[name] = value
    return frame


def pulse(times: np.ndarray, base: float, gain: float, start: float, seconds: float) -> np.ndarray:
    """`base`, higher by `gain` in ``[start, start + seconds)``."""
    up = (times >= start - 1e-9) & (times < start + seconds - 1e-9)
    return np.where(up, base + gain, base)


def script(*parts: tuple) -> list[Segment]:
    """Segments one after the other from (seconds, position, top)."""
    result, at = [], 0.0
    for seconds, position, top in parts:
        result.append(Segment(at, at + seconds, position, top, confidence=0.8))
        at += seconds
    return result
