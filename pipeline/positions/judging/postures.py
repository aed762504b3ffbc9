"""What one body does by itself: stands, kneels, is on all fours, sits, lies, is upside down."""

from __future__ import annotations

import numpy as np

from pipeline.positions.judging.measures import Measures


def on_feet(m: Measures) -> np.ndarray:
    """On one foot or both with the hips up, no knee down, not upside down."""
    up = (m.hip > 0.85) & (m.upright > -0.3) & (m.shoulder > 1.0)
    return (m.knees_down == 0) & (m.feet_down > 0) & up


def upright_on_feet(m: Measures) -> np.ndarray:
    """On the feet with the hips well up, at most half bent over."""
    return on_feet(m) & (m.hip > 1.25) & (m.upright > 0.35)


def on_all_fours(m: Measures) -> np.ndarray:
    """On the knees with the hips up, the chest towards the mat."""
    return (m.knees_down == 2) & (m.faces_up < -0.25) & (m.hip > 0.45)


def kneeling(m: Measures) -> np.ndarray:
    """On the knees with the trunk up; the hips may rest on the heels."""
    down = (m.knees_down == 2) & (m.ankle < 0.45)
    on_heels = (m.hip > 0.27) & (m.faces_up < -0.15) & (m.stretch < 0.6)
    return down & (m.upright > 0.5) & ((m.hip > 0.42) | on_heels)


def turned_in(m: Measures) -> np.ndarray:
    """On the knees, or bent over on feet and hands, hips off the mat, belly down."""
    folded = (m.faces_up < -0.5) & (m.feet_down > 0) & (m.hip > 0.6) & (m.upright < 0.3)
    return on_all_fours(m) | kneeling(m) | (folded & (m.knee_high < 0.9) & (m.shoulder < 1.25))


def lying(m: Measures) -> np.ndarray:
    """On the back or a side, or rolled up onto the shoulders."""
    low = np.minimum(m.hip, m.shoulder) < 0.62
    return low & (m.faces_up > -0.35) & (m.upright < 0.65) & ~kneeling(m)


def seated(m: Measures) -> np.ndarray:
    """On the seat with the trunk up."""
    return (m.hip < 0.5) & (m.upright >= 0.4) & (m.faces_up > -0.5)


def on_the_mat(m: Measures) -> np.ndarray:
    """Lying or seated: on the back, a side or the seat."""
    return lying(m) | (seated(m) & ~kneeling(m))


def face_down(m: Measures) -> np.ndarray:
    """Stretched out on the belly, hips on the mat."""
    return (m.faces_up < -0.4) & (m.hip <= 0.5) & (m.shoulder < 0.9)


def in_the_air(m: Measures) -> np.ndarray:
    """Neither foot nor knee down, and the trunk off the mat."""
    off = (m.feet_down == 0) & (m.knees_down == 0)
    return off & (np.minimum(m.hip, m.shoulder) > 0.62)


def sprawled(m: Measures) -> np.ndarray:
    """Legs thrown back, chest down, hips off the mat, the knees not folded beneath."""
    back = (m.faces_up < -0.5) & (m.upright < 0.6)
    return back & (m.shoulder > 0.6) & (m.stretch > 1.4)
