"""What the lift learns from: pairs of skeletons in metres, still or moving, and what they show."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from models.training.positions.data import StoredBout, labels_at
from models.training.positions.families.stills import template_states
from models.training.scenes.body import Person
from models.training.scenes.bouts import KeypointArms
from models.training.scenes.motion import Motion
from models.training.scenes.pairs_file import Pairs
from pipeline.positions.states import STATES

UNNAMED = -1
"""State of a pose that has no name: it teaches where the bodies are, and no position."""


@dataclass(frozen=True)
class Poses:
    """Still pairs.

    Attributes
    ----------
    world : ndarray, float32, (N, 2, 17, 3)
        COCO keypoints, metres, z up, the mat at 0.
    state : ndarray, int, (N,)
        Row of `STATES`, or `UNNAMED`.
    family : ndarray of str, (N,)
    """

    world: np.ndarray
    state: np.ndarray
    family: np.ndarray

    def __len__(self) -> int:
        return len(self.state)

    def __getitem__(self, rows: np.ndarray) -> Poses:
        return Poses(self.world[rows], self.state[rows], self.family[rows])

    @classmethod
    def joined(cls, parts: Sequence[Poses]) -> Poses:
        """Put poses together."""
        columns = ([getattr(part, name) for part in parts] for name in ("world", "state", "family"))
        return cls(*(np.concatenate(column) for column in columns))


@dataclass(frozen=True)
class Film:
    """Moving pairs, one bout after the other.

    Attributes
    ----------
    world : ndarray, float32, (T, 2, 17, 3)
        Ten samples a second.
    state : ndarray, int, (T,)
    starts : ndarray, int, (B + 1,)
        First sample of each bout, and the end.
    """

    world: np.ndarray
    state: np.ndarray
    starts: np.ndarray


def of_pairs(pairs: Pairs, people: Sequence[Person], states: np.ndarray | None = None) -> Poses:
    """Take solved pairs.

    Parameters
    ----------
    pairs : Pairs
    people : sequence of Person
        The cast that the pairs index.
    states : ndarray of int, (N,), optional
        What they are; as their templates say by default.
    """
    from models.training.scenes.families import family_of

    families = np.array([family_of(str(name)) for name in pairs.templates])
    if states is None:
        states = _rows(template_states(pairs))
    return Poses(world_keypoints(pairs, people), states, families[pairs.template])


def _rows(states: Sequence[str] | np.ndarray) -> np.ndarray:
    """Return the row of `STATES` of each joint state, or `UNNAMED`, (N,)."""
    rows = {state: i for i, state in enumerate(STATES)}
    return np.array([rows.get(str(state), UNNAMED) for state in states])


def world_keypoints(pairs: Pairs, people: Sequence[Person]) -> np.ndarray:
    """Return the keypoints of solved pairs, float32 (N, 2, 17, 3) metres."""
    world = np.zeros((len(pairs), 2, 17, 3), np.float32)
    for body in (0, 1):
        for person in np.unique(pairs.person[:, body]):
            rows = np.flatnonzero(pairs.person[:, body] == person)
            arms = KeypointArms.of(people[int(person)])
            world[rows, body] = arms.keypoints(_as_motion(pairs, rows), body)
    return world


def _as_motion(pairs: Pairs, rows: np.ndarray) -> Motion:
    """Pretend that pairs follow each other: what knows motion then takes all of them at once."""
    nothing = np.zeros(len(rows))
    return Motion(
        nothing, pairs.joints[rows], pairs.rotation[rows], pairs.translation[rows],
        nothing.astype(int), nothing,
    )  # fmt: skip


def of_bouts(bouts: Sequence[StoredBout]) -> Film:
    """Take made-up bouts; what is in no state of `STATES` is unnamed."""
    states = [_rows(labels_at(b.timeline, b.times)) for b in bouts]
    starts = np.cumsum([0, *(len(s) for s in states)])
    world = np.concatenate([b.keypoints for b in bouts]).astype(np.float32)
    return Film(world, np.concatenate(states), starts)


def without(poses: Poses, families: set[str]) -> Poses:
    """Return the poses of all other families."""
    return poses[~np.isin(poses.family, list(families))]
