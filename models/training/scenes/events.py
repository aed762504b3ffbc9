"""Moments of a bout: the truth that proposals are judged by.

Rises and lifts are measured anew on the true 3D skeletons, in metres and along a true vertical,
by the definitions of docs/moments.md. Changes of position follow from the true segments alone,
by the same rules as for any timeline.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipeline.moments.elevations import UNDERNEATH, Gain, gains
from pipeline.moments.spells import spells
from pipeline.moments.transitions import find_transitions
from pipeline.settings import MomentsSettings
from pipeline.timeline import ATHLETES, Athlete, Moment, Segment, State, other

_SHOULDERS, _HIPS, _KNEES, _ANKLES = [5, 6], [11, 12], [13, 14], [15, 16]
_NEAR = 2.0
"""Trunk lengths between both hips on the mat: who is carried is over the other, not beside."""


def find_moments(
    times: np.ndarray, keypoints: np.ndarray, segments: Sequence[Segment]
) -> tuple[Moment, ...]:
    """Return all true moments in order.

    Parameters
    ----------
    times : ndarray, (T,)
    keypoints : ndarray, (T, 2, 17, 3)
        World, metres, z up.
    segments : sequence of Segment
        True, in order.
    """
    settings = MomentsSettings()
    found = find_transitions(spells(segments, settings.reached_s, settings.pause_s), settings)
    bodies = [_Heights.of(keypoints[:, body]) for body in (0, 1)]
    for athlete, own, foe in zip(ATHLETES, bodies, bodies[::-1], strict=True):
        under = _under(times, segments, other(athlete))
        found += _rises(times, own, under, athlete, settings)
        found += _lifts(times, own, foe, under, athlete, settings)
    found = [replace(moment, state=State.ACCEPTED, confidence=1.0) for moment in found]
    return tuple(sorted(found, key=lambda m: m.start_s))


@dataclass(frozen=True)
class _Heights:
    """One body in trunk lengths: heights of shoulders, hips, lower knee and lower foot (T,), and
    where the hips are on the mat (T, 2)."""

    shoulder: np.ndarray
    hip: np.ndarray
    knee: np.ndarray
    foot: np.ndarray
    place: np.ndarray

    @classmethod
    def of(cls, points: np.ndarray) -> _Heights:
        shoulder, hip = points[:, _SHOULDERS].mean(axis=1), points[:, _HIPS].mean(axis=1)
        trunk = float(np.median(np.linalg.norm(shoulder - hip, axis=-1)))
        knee, foot = (points[:, joints, 2].min(axis=1) / trunk for joints in (_KNEES, _ANKLES))
        return cls(shoulder[:, 2] / trunk, hip[:, 2] / trunk, knee, foot, hip[:, :2] / trunk)


def _under(times: np.ndarray, segments: Sequence[Segment], top: Athlete) -> np.ndarray:
    """Samples at which an athlete is underneath the other in a position that counts."""
    under = np.zeros(len(times), dtype=bool)
    for segment in segments:
        if segment.top == top and segment.position in UNDERNEATH:
            under |= (times >= segment.start_s) & (times < segment.end_s)
    return under


def _rises(
    times: np.ndarray, own: _Heights, under: np.ndarray, athlete: Athlete, s: MomentsSettings
) -> Iterator[Moment]:
    for g in gains(times, own.shoulder, s.rise_gain, s.rise_within_s, s.rise_keep_s):
        if under[g.base]:
            yield _moment("rise", athlete, times, g)


def _lifts(
    times: np.ndarray,
    own: _Heights,
    foe: _Heights,
    under: np.ndarray,
    athlete: Athlete,
    s: MomentsSettings,
) -> Iterator[Moment]:
    carried = (foe.knee >= s.lift_knee) & (foe.foot >= s.lift_foot)
    carried &= (foe.hip > own.hip) & (np.linalg.norm(foe.place - own.place, axis=1) < _NEAR)
    for g in gains(times, foe.hip, s.lift_gain, s.lift_within_s, s.lift_keep_s):
        if under[g.base] and carried[(times >= times[g.cross]) & (times <= g.end_s)].any():
            yield _moment("lift", athlete, times, g)


def _moment(kind: str, athlete: Athlete, times: np.ndarray, g: Gain) -> Moment:
    peak_s = float(times[g.peak])
    return Moment(g.start_s, peak_s, max(g.end_s, peak_s), kind, athlete, strength=g.gain)
