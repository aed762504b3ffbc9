"""How near what is learned from comes to families left out: do combinations fill the space?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from models.training.lift.material import world_keypoints
from models.training.scenes.body import Person
from models.training.scenes.families import FOLDS, kept
from models.training.scenes.pairs_file import Pairs
from pipeline.timeline import POSITIONS

_EARS, _LIMBS = (3, 4), slice(5, 17)
# Head, then shoulders to ankles, left before right.
_OTHER_SIDE = np.array([0, *(1 + k + (-1) ** (k % 2) for k in range(12))])
BLOCK = 256


@dataclass(frozen=True)
class Poses:
    """Pairs ready to be laid over each other.

    Attributes
    ----------
    flat : ndarray, complex64, (N, 26)
        x + iy of 13 joints of both athletes, from the pair's middle, metres.
    height : ndarray, float32, (N, 26)
        Metres over the mat.
    """

    flat: np.ndarray
    height: np.ndarray

    @classmethod
    def of(cls, world: np.ndarray) -> Poses:
        """Take COCO keypoints (N, 2, 17, 3) in metres."""
        head = world[:, :, _EARS].mean(axis=2, keepdims=True)
        joints = np.concatenate([head, world[:, :, _LIMBS]], axis=2).reshape(len(world), -1, 3)
        flat = joints[..., 0] + 1j * joints[..., 1]
        flat -= flat.mean(axis=1, keepdims=True)
        return cls(flat.astype(np.complex64), joints[..., 2].astype(np.float32))

    def __getitem__(self, rows: np.ndarray) -> Poses:
        return Poses(self.flat[rows], self.height[rows])

    def ways(self) -> Iterator[Poses]:
        """Yield the same poses plain and mirrored, the athletes in either order."""
        there = np.arange(13)
        for order in ((0, 1), (1, 0)):
            same = np.concatenate([13 * body + there for body in order])
            side = np.concatenate([13 * body + _OTHER_SIDE for body in order])
            yield Poses(self.flat[:, same], self.height[:, same])
            yield Poses(self.flat[:, side].conj(), self.height[:, side])


def nearest(poses: Poses, others: Poses) -> np.ndarray:
    """Return how far each pose is from the nearest of others.

    Two poses are laid over each other by the turn about the vertical and the shift on the mat that
    leave the least squared distance; either may be mirrored, and the athletes exchanged.

    Returns
    -------
    ndarray, (N,)
        Mean distance of a joint, metres; infinite if there are no others.
    """
    best = np.full(len(poses.flat), np.inf)
    if not len(others.flat):
        return best
    for way in others.ways():
        size = _squares(way)
        for start in range(0, len(poses.flat), BLOCK):
            some = poses[np.arange(start, min(start + BLOCK, len(poses.flat)))]
            apart = _squares(some)[:, None] + size - 2 * some.height @ way.height.T
            apart -= 2 * np.abs(some.flat @ way.flat.conj().T)
            found = way[apart.argmin(axis=1)]
            rows = slice(start, start + BLOCK)
            best[rows] = np.minimum(best[rows], _laid_over(some, found))
    return best


def _squares(poses: Poses) -> np.ndarray:
    return (np.abs(poses.flat) ** 2 + poses.height**2).sum(axis=1)


def _laid_over(poses: Poses, others: Poses) -> np.ndarray:
    """Mean distance of a joint between pairs of poses, row by row."""
    turn = (poses.flat * others.flat.conj()).sum(axis=1, keepdims=True)
    turn /= np.maximum(np.abs(turn), 1e-9)
    flat = np.abs(poses.flat - turn * others.flat)
    return np.hypot(flat, poses.height - others.height).mean(axis=1)


def coverage(
    judged: tuple[Pairs, Sequence[Person]],
    learned: Sequence[tuple[str, Pairs]],
    people: Sequence[Person],
    each: int = 8,
) -> pd.DataFrame:
    """Measure how far families left out are from what is learned from in their fold.

    Parameters
    ----------
    judged : Pairs and their cast
    learned : sequence of name and Pairs
        Each is added to those before it.
    people : sequence of Person
        The cast of what is learned from.
    each : int
        Pairs judged of a template.

    Returns
    -------
    DataFrame
        A row for each judged pair: template, position, metres to the nearest of the first poses
        with its own family among them (``known``), and without, after each addition.
    """
    pairs, others = judged
    rng = np.random.default_rng(0)
    rows = np.concatenate(
        [
            rng.permutation(np.flatnonzero(pairs.template == i))[:each]
            for i in range(len(pairs.templates))
        ]
    )
    poses = Poses.of(world_keypoints(pairs, others))[rows]
    names = pairs.templates[pairs.template[rows]].astype(str)
    table = pd.DataFrame({"template": names, "position": pairs.positions[pairs.position[rows]]})
    so_far = np.full(len(rows), np.inf)
    for number, (name, some) in enumerate(learned):
        known = Poses.of(world_keypoints(some, people))
        templates = some.templates.astype(str)
        if number == 0:
            table["known"] = nearest(poses, known)
        for fold in range(FOLDS):
            left = np.flatnonzero(~np.isin(names, kept(names.tolist(), fold)))
            usable = np.isin(templates, kept(templates.tolist(), fold))[some.template]
            found = nearest(poses[left], known[np.flatnonzero(usable)])
            so_far[left] = np.minimum(so_far[left], found)
        table[name] = so_far
    return table


def summary(table: pd.DataFrame) -> str:
    """Return medians and 90th percentiles by position, in centimetres, as a table."""
    columns = [name for name in table.columns if name not in ("template", "position")]
    lines = ["| position | " + " | ".join(columns) + " |", "|---|" + "---|" * len(columns)]
    keys = [p.key for p in POSITIONS if p.key in set(table["position"])]
    for key in [*keys, "all"]:
        own = table if key == "all" else table[table["position"] == key]
        cells = [
            f"{100 * own[name].median():.1f} ({100 * own[name].quantile(0.9):.1f})"
            for name in columns
        ]
        lines.append(f"| {key} | " + " | ".join(cells) + " |")
    return "\n".join(lines) + "\n"
