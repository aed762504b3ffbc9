"""How often the judge names solved pairs as their templates do."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from models.training.scenes.body import Person
from models.training.scenes.families import family_of
from models.training.scenes.pairs_file import Pairs
from models.training.scenes.pose_joints import pair_joints
from pipeline.positions.judging import Verdict, judge_poses

NONE = "none"
_TOPS = (None, "A", "B")


@dataclass(frozen=True)
class Judged:
    """Pairs and what the judge calls them.

    Attributes
    ----------
    joints : ndarray, float32, (N, 2, 14, 3)
        Metres.
    family, position : ndarray of str, (N,)
        What the template says.
    top : ndarray of object, (N,)
    verdicts : list of Verdict
    """

    joints: np.ndarray
    family: np.ndarray
    position: np.ndarray
    top: np.ndarray
    verdicts: list[Verdict]

    @property
    def said(self) -> np.ndarray:
        """Positions as judged, ``"none"`` where none; (N,) of str."""
        return np.array([verdict.position or NONE for verdict in self.verdicts])

    @property
    def agrees(self) -> np.ndarray:
        """Whether judge and template agree, bool (N,); a scramble is what the judge won't name."""
        meant = np.where(self.position == "scramble", NONE, self.position)
        return self.said == meant


def judged(pairs: Pairs, people: Sequence[Person]) -> Judged:
    """Judge pairs of these people."""
    joints = pair_joints(pairs, people)
    return Judged(
        joints,
        np.array([family_of(str(name)) for name in pairs.templates[pairs.template]]),
        pairs.positions[pairs.position],
        np.array([_TOPS[top] for top in pairs.top], object),
        judge_poses(joints),
    )


def report(found: Judged, below: float = 0.98) -> str:
    """Return a table by position with what else was said, and the families that agree less.

    Parameters
    ----------
    found : Judged
    below : float
        Families that agree at least so often are left out.
    """
    agrees, said = found.agrees, found.said
    tops = np.array([verdict.top for verdict in found.verdicts], object) == found.top
    lines = [f"judged as named: {agrees.mean():.3f} of {len(agrees)} pairs", ""]
    lines += ["| position | pairs | as named | top | otherwise |", "|---|---|---|---|---|"]
    for position in np.unique(found.position):
        rows = found.position == position
        right = rows & agrees
        top = f"{tops[right].mean():.2f}" if right.any() else ""
        lines.append(
            f"| {position} | {rows.sum()} | {agrees[rows].mean():.2f} | {top} | "
            f"{_counted(said[rows & ~agrees])} |"
        )
    lines += ["", "| family | pairs | as named | otherwise |", "|---|---|---|---|"]
    for family in dict.fromkeys(found.family[np.argsort(found.position, kind="stable")]):
        rows = found.family == family
        if agrees[rows].mean() < below:
            otherwise = _counted(said[rows & ~agrees])
            lines.append(f"| {family} | {rows.sum()} | {agrees[rows].mean():.2f} | {otherwise} |")
    return "\n".join(lines)


def _counted(words: np.ndarray) -> str:
    return ", ".join(f"{word} {count}" for word, count in Counter(words.tolist()).most_common())
