"""Stills: what becomes of solved pairs within a second or so, named by the judge."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from functools import cache, lru_cache
from multiprocessing import get_context
from pathlib import Path

import numpy as np

from ..body import Person, load_cast
from ..pairs_file import Pairs, load_pairs
from ..plausibility import judge
from ..pose import BodyPose, PosedPair
from ..solver import SolvedPair
from . import efforts
from .model import PairModel
from .simulate import DivergedError, Frame, Simulation
from .state import pair_of

NAME = "physics"
LEAST_S, MOST_S = 0.3, 1.5
EACH = 2
"""Stills kept of a simulation at most."""


@dataclass(frozen=True)
class Order:
    """One simulation.

    Attributes
    ----------
    cast : str
    pairs : tuple of str
        Files.
    seed : int
    row : int
        Of the pair it begins from.
    """

    cast: str
    pairs: tuple[str, ...]
    seed: int
    row: int


@dataclass(frozen=True)
class Made:
    """What became of one simulation.

    Attributes
    ----------
    kept : list of SolvedPair
    became : Counter of str
        ``kept``, ``flew apart``, ``too deep``, ``off the mat``.
    moves : Counter of (str, str)
        From which position to which; ``""`` is unnamed.
    figures : list of tuple of float
        A still's depth on the mesh (m), and the worst angle past a limit (rad) until then.
    """

    kept: list[SolvedPair] = field(default_factory=list)
    became: Counter[str] = field(default_factory=Counter)
    moves: Counter[tuple[str, str]] = field(default_factory=Counter)
    figures: list[tuple[float, float]] = field(default_factory=list)


@cache
def material(cast: str, pairs: tuple[str, ...]) -> tuple[list[Person], Pairs]:
    """Read a cast and its pairs, once a process."""
    return load_cast(cast), load_pairs(*pairs)


@lru_cache(maxsize=64)
def model_of(cast: str, pairs: tuple[str, ...], a: int, b: int) -> PairModel:
    """Return the model of two people of a cast, built once a process."""
    people, _ = material(cast, pairs)
    return PairModel((people[a], people[b]))


def still(order: Order) -> Made:
    """Simulate one pair and keep what is plausible; the same for the same order."""
    people, pairs = material(order.cast, order.pairs)
    rng = np.random.default_rng((order.seed, order.row, 0))
    pair, other = pairs[order.row], pairs[int(rng.integers(len(pairs)))]
    model = model_of(order.cast, order.pairs, *(body.person for body in pair.bodies))
    goal = beside(pair, other)
    wanted = tuple(efforts.drawn(rng, b, g) for b, g in zip(pair.bodies, goal.bodies, strict=True))
    seconds = float(rng.uniform(LEAST_S, MOST_S))
    name = f"{NAME} / {pair.template}"
    if any(effort.kind == "towards" for effort in wanted):
        name += f" / {other.template}"
    made = Made()
    try:
        simulation = Simulation(model, pair, (order.seed, order.row, 1))
        frames = list(simulation.run((wanted[0], wanted[1]), seconds))
    except DivergedError:
        made.became["flew apart"] += 1
        return made
    worst = max(frame.past_limit for frame in frames)
    for frame in _chosen(rng, frames):
        moved = replace(pair_of(model, frame.qpos, pair), template=name)
        _look(made, moved, pair.position, people, worst)
    return made


def _chosen(rng: np.random.Generator, frames: Sequence[Frame]) -> list[Frame]:
    """Choose the last moment, and one before that is not too near to it."""
    early = [frame for frame in frames[:-8] if frame.time >= LEAST_S]
    return [frames[-1], *([early[int(rng.integers(len(early)))]] if early else [])][:EACH]


def _look(made: Made, pair: PosedPair, began: str, people: Sequence[Person], past: float) -> None:
    """Measure a still on its meshes and name it."""
    pair, quality = judge(pair, people, 0.0, 0.0)
    made.figures.append((quality.penetration, past))
    if not quality.accepted:
        deep = quality.floor <= 0.015
        made.became["too deep" if deep else "off the mat"] += 1
        return
    pair = named(pair, people)
    made.became["kept"] += 1
    made.moves[began, pair.position] += 1
    made.kept.append(SolvedPair(pair, quality))


def named(pair: PosedPair, people: Sequence[Person]) -> PosedPair:
    """Give a pair the judge's name, or none."""
    from pipeline.positions.judging import judge_poses

    (verdict,) = judge_poses(joints_of([pair], people))
    return replace(pair, position=verdict.position or "", top=verdict.top)


def joints_of(pairs: Sequence[PosedPair], people: Sequence[Person]) -> np.ndarray:
    """Return the joints of pairs as the judge takes them, (N, 2, 14, 3) metres."""
    from ..pose_joints import pose_joints

    def joints(body: BodyPose) -> np.ndarray:
        pose = body.joints[None], body.rotation[None], body.translation[None]
        return pose_joints(people[body.person], *pose)[0]

    return np.array([[joints(body) for body in pair.bodies] for pair in pairs])


def beside(pair: PosedPair, other: PosedPair) -> PosedPair:
    """Put another pair on the mat where a pair is."""
    here, there = (np.mean([b.translation for b in p.bodies], 0) for p in (pair, other))
    return other.shifted(np.array([*(here - there)[:2], 0], np.float32))


def orders(cast: Path, pairs: Sequence[Path], seed: int) -> Iterator[Order]:
    """Yield simulations without end: every pair in a random order, then again."""
    files = tuple(str(path) for path in pairs)
    count = len(load_pairs(*files))
    turn = 0
    while True:
        for row in np.random.default_rng((seed, turn)).permutation(count):
            yield Order(str(cast), files, seed + turn, int(row))
        turn += 1


def pool(workers: int) -> ProcessPoolExecutor:
    """Return a pool of processes of one thread each."""
    return ProcessPoolExecutor(workers, mp_context=get_context("spawn"), initializer=_alone)


def _alone() -> None:
    import torch

    torch.set_num_threads(1)
