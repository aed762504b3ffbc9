"""Moments of a bout: the truth that proposals are judged by.

Rises and lifts are measured anew on the true 3D skeletons, in metres and along a true vertical,
by the definitions of docs/moments.md. Changes of position follow from the true segments alone,
by the same rules as for any timeline.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipeline.moments.spells import spells
from pipeline.moments.transitions import find_transitions
from pipeline.settings import MomentsSettings
from pipeline.timeline import ATHLETES, Athlete, Moment, Segment, State, other

_SHOULDERS, _HIPS, _KNEES, _ANKLES = [5, 6], [11, 12], [13, 14], [15, 16]
UNDERNEATH = ("closed_guard", "open_guard", "half_guard", "side_control", "turtle")


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
    """One body in trunk lengths: shoulder, hip and lower foot heights (T,), hips (T, 2) on the
    mat; the straighter knee in degrees (T,)."""

    shoulder: np.ndarray
    hip: np.ndarray
    foot: np.ndarray
    place: np.ndarray
    knee: np.ndarray

    @classmethod
    def of(cls, points: np.ndarray) -> _Heights:
        shoulder, hip = points[:, _SHOULDERS].mean(axis=1), points[:, _HIPS].mean(axis=1)
        trunk = float(np.median(np.linalg.norm(shoulder - hip, axis=-1)))
        thigh = points[:, _HIPS] - points[:, _KNEES]
        shank = points[:, _ANKLES] - points[:, _KNEES]
        cosine = (thigh * shank).sum(-1) / (
            np.linalg.norm(thigh, axis=-1) * np.linalg.norm(shank, axis=-1)
        )
        knee = np.degrees(np.arccos(np.clip(cosine, -1, 1))).max(axis=1)
        foot = points[:, _ANKLES, 2].min(axis=1) / trunk
        return cls(shoulder[:, 2] / trunk, hip[:, 2] / trunk, foot, hip[:, :2] / trunk, knee)


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
    for base, peak, end in _gains(times, own.shoulder, s.rise_gain, s.rise_within_s, s.rise_keep_s):
        if under[base]:
            gain = own.shoulder[peak] - own.shoulder[base]
            yield _moment("rise", athlete, times, base, peak, end, gain)


def _lifts(
    times: np.ndarray,
    own: _Heights,
    foe: _Heights,
    under: np.ndarray,
    athlete: Athlete,
    s: MomentsSettings,
) -> Iterator[Moment]:
    for base, peak, end in _gains(times, foe.hip, s.lift_gain, s.lift_within_s, s.lift_keep_s):
        opens = foe.knee[peak] - foe.knee[base] >= s.stands_knee_degrees
        stands_up_alone = opens and foe.foot[peak] <= s.stands_foot
        carried = foe.hip[peak] > own.hip[peak]
        carried &= np.linalg.norm(foe.place[peak] - own.place[peak]) < 1.0
        if under[base] and carried and not stands_up_alone:
            gain = foe.hip[peak] - foe.hip[base]
            yield _moment("lift", athlete, times, base, peak, end, gain)


def _gains(
    times: np.ndarray, height: np.ndarray, least: float, within_s: float, keep_s: float
) -> Iterator[tuple[int, int, int]]:
    """Samples (lowest, highest, last kept) of each gain on the running baseline that is kept."""
    free = sample = 0
    while sample < len(times):
        first = max(free, int(np.searchsorted(times, times[sample] - within_s - 1e-9)))
        base = first + int(height[first : sample + 1].argmin())
        level = height[base] + least
        if height[sample] < level:
            sample += 1
            continue
        lost = sample + int(np.argmax(np.append(height[sample:] < level, True)))
        if times[lost - 1] - times[sample] < keep_s - 1e-9:
            sample = lost
            continue
        soon = min(lost, int(np.searchsorted(times, times[sample] + within_s)))
        peak = sample + int(height[sample:soon].argmax())
        end = max(peak, min(lost - 1, int(np.searchsorted(times, times[sample] + keep_s))))
        yield base, peak, end
        free = sample = max(end, sample + 1)


def _moment(
    kind: str,
    athlete: Athlete,
    times: np.ndarray,
    base: int,
    peak: int,
    end: int,
    gain: float,
) -> Moment:
    start_s, peak_s, end_s = (float(times[k]) for k in (base, peak, end))
    return Moment(start_s, peak_s, end_s, kind, athlete, strength=float(gain))
