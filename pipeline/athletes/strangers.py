"""Stretches in which a track lies on somebody else: told by looking at how they end as well.

A pair reader always names two people, and beside a bystander they may be the wrong two. Forwards
in time nothing shows it: the bystander stands as quietly as an athlete would. But then the track
leaps to where the athlete was all along, further than a body can move, and who stood there is gone.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from pipeline.geometry import trunk_length
from pipeline.geometry.skeleton import HIPS, SHOULDERS, midpoint, seen_points
from pipeline.settings import AthletesSettings


def strangers(times: np.ndarray, keypoints: np.ndarray, settings: AthletesSettings) -> np.ndarray:
    """Return where a track lies on neither athlete.

    That is a stretch that a leap begins or ends, apart from the other track for more than half of
    it, and shorter than half of all there is.

    Parameters
    ----------
    times : ndarray, (T,)
    keypoints : ndarray, (T, 2, 17, 3)
        NaN = missing.
    settings : AthletesSettings

    Returns
    -------
    ndarray of bool, (T, 2)
    """
    wrong = np.zeros((len(times), 2), dtype=bool)
    points = seen_points(keypoints, settings.min_confidence)
    middle = (midpoint(points, SHOULDERS) + midpoint(points, HIPS)) / 2
    trunk = trunk_length(points)
    if not np.isfinite(trunk).any():
        return wrong
    middle = middle / np.nanmedian(trunk)
    apart = np.linalg.norm(middle[:, 0] - middle[:, 1], axis=-1)
    for slot in range(2):
        came, gone = _leaps(times, middle, slot, settings)
        cuts = np.unique(np.concatenate([[0], np.flatnonzero(came | gone), [len(times)]]))
        for first, end in pairwise(cuts):
            begun, ended = came[first], end < len(times) and gone[end]
            whole = (begun or first == 0) and (ended or end == len(times))
            short = end - first < len(times) / 2
            beside = np.nan_to_num(apart[first:end]) > settings.stranger_apart
            if whole and (begun or ended) and short and beside.mean() > 0.5:
                wrong[first:end, slot] = True
    return wrong


def _leaps(
    times: np.ndarray, middle: np.ndarray, slot: int, settings: AthletesSettings
) -> tuple[np.ndarray, np.ndarray]:
    """Where a track came from where nobody was, and where it left somebody behind; (T,) each.

    Two tracks that exchange their athletes leap too, but each to where the other was.
    """
    came, gone = np.zeros(len(times), dtype=bool), np.zeros(len(times), dtype=bool)
    seen = np.flatnonzero(np.isfinite(middle[:, slot, 0]))
    for before, now in pairwise(seen):
        since = times[now] - times[before]
        if since > settings.stranger_unseen_s:
            continue
        most = max(settings.stranger_leap, settings.stranger_speed * since)
        to = np.linalg.norm(middle[now] - middle[before, slot], axis=-1)
        origin = np.linalg.norm(middle[now, slot] - middle[before], axis=-1)
        gone[now] = np.nanmin(to) > most
        came[now] = np.nanmin(origin) > most
    return came, gone
