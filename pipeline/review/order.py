"""Where a look pays most."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from pipeline.settings import ReviewSettings
from pipeline.timeline import Moment, Segment, State, Timeline, coarse

HIPS_AND_SHOULDERS = [5, 6, 11, 12]


@dataclass(frozen=True)
class Look:
    """One segment or moment a human should look at.

    Attributes
    ----------
    id : str
        The segment's or moment's.
    worth : float
        Seconds of footage expected to be put right, for each second of looking.
    reasons : tuple of str
        What is doubtful, in words.
    """

    id: str
    worth: float
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class Doubts:
    """What the measurements leave open, sample by sample.

    Attributes
    ----------
    times : ndarray, (T,)
    position : ndarray, (T,)
        1 − the likeliest position's probability.
    identity : ndarray, (T,)
        0–1; above 0.5, exchanging the two athletes there would fit their movement better.
    """

    times: np.ndarray
    position: np.ndarray
    identity: np.ndarray

    @classmethod
    def of(cls, times: np.ndarray, keypoints: np.ndarray, probabilities: pd.DataFrame) -> Doubts:
        """Work the doubts out from what was read.

        Parameters
        ----------
        times : ndarray, float64, (T,)
        keypoints : ndarray, float32, (T, 2, 17, 3)
        probabilities : DataFrame, index = time_s
        """
        likeliest = probabilities.max(axis=1) if probabilities.size else pd.Series(dtype=float)
        at = np.interp(times, likeliest.index, likeliest) if len(likeliest) else np.ones(len(times))
        return cls(times, 1 - at, identity_doubt(keypoints))

    def after(self, swaps: list[float]) -> Doubts:
        """Return the doubts that are left once a human has exchanged the athletes at some times.

        Where they fit crossed before, they fit straight now; elsewhere nothing changes.
        """
        identity = self.identity.copy()
        first = np.searchsorted(self.times, swaps)
        first = first[first < len(identity)]
        identity[first] = np.where(identity[first] > 0, 1 - identity[first], 0)
        return replace(self, identity=identity)


def identity_doubt(keypoints: np.ndarray) -> np.ndarray:
    """Return how much better the athletes' movement would fit if they changed places.

    Parameters
    ----------
    keypoints : ndarray, (T, 2, 17, 3)

    Returns
    -------
    ndarray, (T,)
        ``straight / (straight + crossed)``, the trunks' mean way from the sample before; 0 where
        either was not seen.
    """
    trunks = keypoints[:, :, HIPS_AND_SHOULDERS, :2].astype(float)
    doubt = np.zeros(len(trunks))
    before, after = trunks[:-1], trunks[1:]
    straight, crossed = _way(before, after), _way(before, after[:, ::-1])
    total = straight + crossed
    known = np.isfinite(total) & (total > 0)
    doubt[1:][known] = straight[known] / total[known]
    return doubt


def _way(before: np.ndarray, after: np.ndarray) -> np.ndarray:
    return np.linalg.norm(after - before, axis=3).mean(axis=(1, 2))


def order_of_work(
    timeline: Timeline, doubts: Doubts, audited: frozenset[str], settings: ReviewSettings
) -> list[Look]:
    """Return the segments and moments still proposed, where a look pays most first.

    An audited segment comes early although nothing is doubtful about it; the list doesn't tell.
    """
    rare = rare_positions(timeline, settings.rare_share)
    looks = [
        look(segment, doubts, coarse(segment.position) in rare, settings)
        for segment in timeline.segments
        if segment.state is State.PROPOSED
    ]
    looks += [
        look_at_moment(moment, settings)
        for moment in timeline.moments
        if moment.state is State.PROPOSED
    ]
    looks.sort(key=lambda one: -one.worth)
    audits = [one for one in looks if one.id in audited]
    others = [one for one in looks if one.id not in audited]
    every = settings.audit_every
    ordered: list[Look] = []
    for number, one in enumerate(others, start=1):
        ordered.append(one)
        if number % every == 0 and audits:
            ordered.append(audits.pop())
    return ordered + audits[::-1]


def look(segment: Segment, doubts: Doubts, rare: bool, settings: ReviewSettings) -> Look:
    """Return what a look at one segment is worth, and why."""
    reasons = []
    wrong = 1 - segment.confidence
    if wrong > settings.unsure:
        reasons.append(f"only {segment.confidence:.0%} sure of the position")
    border = max(_near(doubts, t, settings.border_s) for t in (segment.start_s, segment.end_s))
    if border > settings.unsure:
        reasons.append("where it starts or ends is unclear")
    first, last = np.searchsorted(doubts.times, [segment.start_s, segment.end_s])
    turned = doubts.identity[first:last].max(initial=0.0)
    if turned > settings.turned:
        reasons.append("A and B may have changed places")
    if rare and wrong > settings.unsure / 2:
        reasons.append("rare in this bout")
    gain = wrong * segment.duration_s * (settings.rare_weight if rare else 1.0)
    gain += border * settings.border_s
    gain += max(0.0, turned - 0.5) * 2 * segment.duration_s
    seconds = settings.look_s + min(segment.duration_s, settings.longest_look_s)
    return Look(segment.id, gain / seconds, tuple(reasons))


def look_at_moment(moment: Moment, settings: ReviewSettings) -> Look:
    """Return what a look at one moment is worth, and why."""
    wrong = 1 - moment.confidence
    reasons = (f"only {moment.confidence:.0%} sure of it",) if wrong > settings.unsure else ()
    seconds = settings.look_s + min(moment.end_s - moment.start_s, settings.longest_look_s)
    return Look(moment.id, wrong * settings.moment_s / seconds, reasons)


def _near(doubts: Doubts, time_s: float, reach_s: float) -> float:
    first, last = np.searchsorted(doubts.times, [time_s - reach_s, time_s + reach_s])
    return float(doubts.position[first:last].mean()) if last > first else 0.0


def rare_positions(timeline: Timeline, share: float) -> frozenset[str]:
    """Return the positions that fill less than a share of the time, taken together by name."""
    seconds: Counter[str] = Counter()
    for segment in timeline.segments:
        seconds[coarse(segment.position)] += segment.duration_s  # type: ignore[assignment]
    total = sum(seconds.values())
    return frozenset(kind for kind, held in seconds.items() if held < share * total)
