"""Look back in time where one of the pair turns out to be someone else.

A reader that follows the pair forwards knows at the start of a bout only who stands close. Some
seconds later two have taken hold of each other and the third has walked off; so from there the
pair is followed backwards, and what is seen then is kept beside what was seen first. Which of the
two readings is of the athletes is settled later, over the whole bout.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from pipeline.athletes import People
from pipeline.bodies import Region

Reread = Callable[[float, float, Region], Iterator[People]]
"""Reads ``[start_s, end_s)`` backwards, last sample first; the pair is in a region at its end."""

SOMEONE_ELSE = 0.8
"""Trunk lengths that half of a body's keypoints move from sample to sample where it is another's.
In rendered bouts 99 of 100 exchanged bodies are at least 0.48 apart. A throw moves one by 1.4:
taking it for a change of person costs a second of reading, which then agrees."""
ALIKE = 0.4
"""Trunk lengths. Two readings of one sample nearer than that are of the same two people."""
SETTLED_S = 0.6
"""Seconds after a change from which is looked back: at first a skeleton lies half on each person,
and the box around it holds all three."""
LASTING_S = 1.0
"""Seconds until the next change from which a pair is worth looking back from."""
LOOK_BACK_S = 10.0
"""Seconds looked back from one change: how long bouts begin apart (common practice, no source)."""


def look_back(people: Sequence[People], reread: Reread) -> list[People]:
    """Return the samples, with a second reading where looking back shows another pair.

    Parameters
    ----------
    people : sequence of People
        In order of time.
    reread : callable
        As `Reread` says.
    """
    found = list(people)
    for t in changes(people):
        start = _settled(people, t)
        first_s = max(people[0].time_s, people[t].time_s - LOOK_BACK_S)
        backwards = reread(first_s, people[start].time_s, _box(people[start]))
        for i, again in zip(range(start - 1, -1, -1), backwards, strict=False):
            same = apart(again, people[i]) < ALIKE
            if again.time_s != people[i].time_s or not again.pair or (same and i < t):
                break
            if not same:
                found[i] = replace(people[i], other=again)
    return found


def _settled(people: Sequence[People], t: int) -> int:
    """Return the last sample that shows a pair up to `SETTLED_S` after sample t."""
    near = [i for i in range(t, len(people)) if people[i].time_s <= people[t].time_s + SETTLED_S]
    return max(i for i in near if people[i].pair)


def changes(people: Sequence[People]) -> list[int]:
    """Return the samples whose pair is not the pair of the sample before, and lasts a while."""
    found = [
        t + 1
        for t, (before, now) in enumerate(pairwise(people))
        if before.pair and now.pair and apart(before, now) > SOMEONE_ELSE
    ]
    lasts_s = np.diff([people[t].time_s for t in found], append=math.inf)
    return [t for t, long_s in zip(found, lasts_s, strict=True) if long_s > LASTING_S]


def apart(a: People, b: People) -> float:
    """Return how far the worse-fitting of two bodies is from its like, in trunk lengths.

    Infinite where not both hold two.
    """
    if len(a) != 2 or len(b) != 2:
        return math.inf
    moved = np.linalg.norm(a.keypoints[:, None, :, :2] - b.keypoints[None, :, :, :2], axis=-1)
    known = np.isfinite(moved)
    median = np.full(moved.shape[:2], np.inf)
    shared = known.any(axis=-1)
    median[shared] = np.nanmedian(moved[shared], axis=-1)
    median /= np.sqrt(a.trunk[:, None] * b.trunk[None])
    straight, crossed = median.diagonal(), median[:, ::-1].diagonal()
    return float(min((straight, crossed), key=np.sum).max())


def _box(people: People) -> Region:
    points = people.keypoints[..., :2].reshape(-1, 2)
    (x0, y0), (x1, y1) = np.nanmin(points, axis=0), np.nanmax(points, axis=0)
    return Region(float(x0), float(y0), float(x1), float(y1))
