"""Pairs by what they turned out to be: kept where the judge says what was meant."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Literal

import numpy as np

from .body import Person
from .composition.mixing import IN_BETWEEN, OTHERWISE
from .pairs_file import Pairs
from .pose import BodyPose, PosedPair
from .solver import SolvedPair, swap

_UNNAMED = "scramble"  # no settled position: what the judge gives no name
Top = Literal["A", "B"] | None
Namer = Callable[[Sequence[PosedPair]], list[PosedPair | None]]
"""Gives each pair the name of what it is; None for what is not to be kept."""


def judge_of(people: Sequence[Person]) -> Namer:
    """A namer that asks the judge about pairs of these people."""
    from pipeline.positions.judging import judge_poses

    from .pose_joints import pose_joints

    def joints(body: BodyPose) -> np.ndarray:
        pose = body.joints[None], body.rotation[None], body.translation[None]
        return pose_joints(people[body.person], *pose)[0]

    def named(pairs: Sequence[PosedPair]) -> list[PosedPair | None]:
        poses = np.array([[joints(body) for body in pair.bodies] for pair in pairs])
        return [
            renamed(pair, verdict.position, verdict.top)
            for pair, verdict in zip(pairs, judge_poses(poses), strict=True)
        ]

    return named


def judged(pairs: Pairs, people: Sequence[Person], others: bool = False) -> list[SolvedPair]:
    """Keep the pairs of a file that the judge finds to be as meant.

    Parameters
    ----------
    pairs : Pairs
    people : sequence of Person
        The cast of the pairs.
    others : bool
        Whether to keep those judged to be another position, too, as that.

    Returns
    -------
    list of SolvedPair
    """
    from pipeline.positions.judging import judge_poses

    from .pose_joints import pair_joints

    verdicts = judge_poses(pair_joints(pairs, people))
    kept = []
    for solved, verdict in zip(pairs.solved(), verdicts, strict=True):
        pair = renamed(solved.pair, verdict.position, verdict.top, others)
        if pair is not None:
            kept.append(replace(solved, pair=pair))
    return kept


def renamed(
    pair: PosedPair, position: str | None, top: Top, others: bool = False
) -> PosedPair | None:
    """Give a pair the name that a judge found.

    Parameters
    ----------
    pair : PosedPair
        As it was solved.
    position, top : str or None
        The verdict.
    others : bool
        Whether to keep what was meant to be something else, under ``"judged other / …"``.

    Returns
    -------
    PosedPair or None
        As it is if it is what it was meant to be; in-between poses take the judge's name. As in
        templates, A is the one on top where there is one.
    """
    if position is None:
        return pair if pair.position == _UNNAMED else None
    if pair.template.startswith(IN_BETWEEN):
        return _topped(replace(pair, position=position, top=top))
    if (position, top) == (pair.position, pair.top):
        return pair
    if not others:
        return None
    name = f"{OTHERWISE} / {pair.template}"
    return _topped(replace(pair, template=name, position=position, top=top))


def _topped(pair: PosedPair) -> PosedPair:
    return swap(pair) if pair.top == "B" else pair
