"""Who meets whom, and which solved poses suit them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from .body import Person
from .pairs_file import Pairs
from .pose import PosedPair

_BODY_SHARE_M = 0.02
"""A pair solved for quite other bodies counts like one that is 2 cm worse."""


def matched(rng: np.random.Generator, people: Sequence[Person], bouts: int = 1) -> list[int]:
    """Draw opponents of like sex, height and weight, as classes would have it.

    Returns
    -------
    list of int
        Rows of `people`, 2 × `bouts`: athlete A and athlete B of each bout.
    """
    sizes = np.array([_size(person) for person in people])
    left = [int(row) for row in rng.permutation(len(people))]
    drawn: list[int] = []
    for _ in range(bouts):
        first = left.pop(0)
        second = min(left, key=lambda row: float(np.linalg.norm(sizes[row] - sizes[first])))
        left.remove(second)
        drawn += [first, second]
    return drawn


def suited(
    pairs: Pairs, people: Sequence[Person], who: Sequence[int], each: int = 16
) -> list[PosedPair]:
    """Choose the most exact pairs of every template that were solved for bodies like these.

    Parameters
    ----------
    pairs : Pairs
    people : sequence of Person
        The cast that the pairs were solved for.
    who : two int
        Rows of the cast.
    each : int
        How many of a template.
    """
    sizes = np.array([_size(person) for person in people])
    unlike = np.linalg.norm(sizes[pairs.person] - sizes[list(who)].mean(axis=0), axis=-1).max(-1)
    error = pairs.quality[:, 0] + pairs.quality[:, 2] + _BODY_SHARE_M * unlike
    chosen: list[PosedPair] = []
    for template in range(len(pairs.templates)):
        rows = np.flatnonzero(pairs.template == template)
        best = rows[np.argsort(error[rows], kind="stable")][:each]
        chosen += [pairs[int(row)] for row in best]
    return chosen


def _size(person: Person) -> tuple[float, float, float]:
    shape = person.shape
    return shape["gender"], 4 * shape["height"], shape["weight"]
