"""The judge itself: asks the rules in their order."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from pipeline.errors import MatlineError
from pipeline.positions.judging.clauses import higher
from pipeline.positions.judging.measures import measure
from pipeline.positions.judging.rules import RULES
from pipeline.positions.judging.skeleton import POSE_JOINTS
from pipeline.timeline.vocabulary import BY_KEY

BLOCK = 4096


@dataclass(frozen=True)
class Verdict:
    """What a pair of poses is.

    Attributes
    ----------
    position : str or None
        Key of the vocabulary; None where no rule holds.
    top : {"A", "B", None}
    reasons : tuple of str
        Why, in sentences.
    """

    position: str | None
    top: Literal["A", "B"] | None
    reasons: tuple[str, ...] = ()


def judge_poses(joints: np.ndarray) -> list[Verdict]:
    """Name the positions of pairs.

    Parameters
    ----------
    joints : ndarray, (N, 2, 14, 3)
        Metres, z up, the mat at 0; joints in the order of `POSE_JOINTS`, body 0 is athlete A.

    Returns
    -------
    list of Verdict, length N

    Raises
    ------
    MatlineError
        If the shape is another.
    """
    joints = np.asarray(joints)
    if joints.shape[1:] != (2, len(POSE_JOINTS), 3):
        raise MatlineError(
            f"Poses of shape {joints.shape} can't be judged; give (N, 2, {len(POSE_JOINTS)}, 3)."
        )
    verdicts: list[Verdict] = []
    for first in range(0, len(joints), BLOCK):
        verdicts += _judge(joints[first : first + BLOCK])
    return verdicts


def _judge(joints: np.ndarray) -> list[Verdict]:
    measures = measure(joints)
    over = higher(measures)
    rule_of, top_of = np.full(len(joints), -1), np.zeros(len(joints), int)
    for number, rule in enumerate(RULES):
        holds = rule.holds(measures)
        new = holds.any(1) & (rule_of < 0)
        rule_of[new] = number
        top_of[new] = np.argmax(np.where(holds, 1e3 + over, over)[new], 1)
    return [_verdict(int(rule), int(top)) for rule, top in zip(rule_of, top_of, strict=True)]


def _verdict(rule: int, top: int) -> Verdict:
    if rule < 0:
        return Verdict(None, None)
    position, names = RULES[rule].position, "AB"
    words = {"top": names[top], "under": names[1 - top]}
    reasons = tuple(clause.words.format(**words) for clause in RULES[rule].clauses)
    return Verdict(position, names[top] if BY_KEY[position].has_top else None, reasons)  # type: ignore[arg-type]
