"""Compositions by the ten thousand: GPUs solve large batches while all cores look at meshes.

A few processes for each GPU draw compositions and solve them; what touches where it should goes
to a pool of processes that name the pose (`pipeline.positions.judging`), measure its meshes and
keep what is both plausible and what it was meant to be.
"""

from __future__ import annotations

import multiprocessing
import os
import queue
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from multiprocessing.context import SpawnContext, SpawnProcess
from typing import Any

import numpy as np

from .body import Person
from .composition.mixing import IN_BETWEEN
from .judged_pairs import Namer
from .plausibility import MAX_CONTACT_ERROR_M
from .pose import PosedPair
from .solver import Candidate, SolvedPair


@dataclass(frozen=True)
class Plan:
    """What to run.

    Attributes
    ----------
    cast : str
        Path of a saved cast.
    seed : int
    count : int
        Pairs to keep; the run ends there or when its time is up.
    seconds : float
    device : str
        ``"cpu"`` or ``"cuda"``: all GPUs.
    workers : int
        Processes that look at meshes.
    batch : int
        Pairs solved at once.
    solvers : int
        Processes for each GPU.
    mixed : float
        Share of each batch that begins from other pairs (in-between poses).
    judged : bool
        Keep only what the judge calls what it was meant to be, and name in-between poses by it.
        Otherwise all that is plausible is kept, to be judged later (`judged_pairs`), and
        in-between poses have no position.
    only : tuple of str
        Positions or starts of recipes' names.
    """

    cast: str
    seed: int = 0
    count: int = 200_000
    seconds: float = 540.0
    device: str = "cpu"
    workers: int = 1
    batch: int = 768
    solvers: int = 3
    mixed: float = 0.25
    judged: bool = False
    only: tuple[str, ...] = ()


@dataclass(frozen=True)
class Found:
    """What a worker made of some candidates.

    Attributes
    ----------
    kept : list of SolvedPair
    became : Counter of str
        How many were: ``kept``, ``apart`` (contacts not met), ``unnamed``, ``implausible``.
    """

    kept: list[SolvedPair]
    became: Counter[str]


_AT_ONCE = 24
_LAST_WORDS_S = 20.0


def compose_many(plan: Plan) -> Iterator[Found]:
    """Solve compositions until there are enough or the time is up.

    Yields
    ------
    Found
        As they come; the order depends on the machine, what is solved from a seed does not.
    """
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    spawn = multiprocessing.get_context("spawn")  # CUDA does not survive a fork
    todo: Any = spawn.Queue(maxsize=6 * plan.workers)
    done: Any = spawn.Queue()
    stop = spawn.Event()
    ends = time.monotonic() + plan.seconds
    processes = _started(spawn, plan, todo, done, stop)
    kept = 0
    try:
        while time.monotonic() < ends and kept < plan.count:
            try:
                found: Found = done.get(timeout=1.0)
            except queue.Empty:
                if not any(process.is_alive() for process in processes):
                    break  # each has said why
                continue
            kept += len(found.kept)
            yield found
    finally:
        stop.set()
        for process in processes:
            process.terminate()
        for process in processes:
            process.join(_LAST_WORDS_S)


def _started(
    spawn: SpawnContext, plan: Plan, todo: Any, done: Any, stop: Any
) -> list[SpawnProcess]:
    devices = _devices(plan.device)
    solvers = [device for _ in range(plan.solvers if plan.device != "cpu" else 1)
               for device in devices]  # fmt: skip
    processes = [
        spawn.Process(target=_solve, args=(plan, number, device, todo, stop), daemon=True)
        for number, device in enumerate(solvers)
    ]
    processes += [
        spawn.Process(target=_look, args=(plan, todo, done, stop), daemon=True)
        for _ in range(plan.workers)
    ]
    for process in processes:
        process.start()
    return processes


def _devices(device: str) -> list[str]:
    if device != "cuda":
        return [device]
    import torch

    return [f"cuda:{i}" for i in range(torch.cuda.device_count())]


def _solve(plan: Plan, number: int, device: str, todo: Any, stop: Any) -> None:
    """Draw and solve batch after batch; every batch has a seed of its own."""
    import torch

    from .body import load_cast
    from .composition import composed
    from .composition.mixing import mixed
    from .rig import Rig
    from .solver import SolverSettings, candidates

    torch.set_num_threads(1)
    people = load_cast(plan.cast)
    rig = Rig(people, device)
    settings = SolverSettings(joint_noise=10.0, turn_noise=7.0, place_noise=0.03)
    last: list[PosedPair] = []
    turn = 0
    while not stop.is_set():
        seed = int(np.random.SeedSequence((plan.seed, number, turn)).generate_state(1)[0])
        templates = composed(plan.batch, seed, plan.only)
        starts: list[PosedPair | None] = [None] * len(templates)
        if last:
            some = int(plan.mixed * len(templates))
            for i, m in enumerate(mixed(templates[:some], last, np.random.default_rng(seed))):
                templates[i], starts[i] = m.template, m.start
        found = candidates(templates, people, seed, device, settings, rig, starts)
        last = [c.pair for c in found if c.contact <= MAX_CONTACT_ERROR_M
                and not c.pair.template.startswith(IN_BETWEEN)]  # fmt: skip
        for start in range(0, len(found), _AT_ONCE):
            todo.put(found[start : start + _AT_ONCE])
        turn += 1


def _look(plan: Plan, todo: Any, done: Any, stop: Any) -> None:
    """Name and measure what the solvers found."""
    import torch

    from .body import load_cast
    from .judged_pairs import judge_of

    torch.set_num_threads(1)
    people = load_cast(plan.cast)
    named = judge_of(people) if plan.judged else _as_meant
    while not stop.is_set():
        try:
            some = todo.get(timeout=1.0)
        except queue.Empty:
            continue
        done.put(looked_at(some, people, named))


def looked_at(some: Sequence[Candidate], people: Sequence[Person], named: Namer) -> Found:
    """Keep the candidates that touch, that are something, and that two bodies could do."""
    from .solver import finished

    became = Counter(apart=sum(c.contact > MAX_CONTACT_ERROR_M for c in some))
    touching = [c for c in some if c.contact <= MAX_CONTACT_ERROR_M]
    names = named([c.pair for c in touching]) if touching else []
    kept = []
    for candidate, pair in zip(touching, names, strict=True):
        if pair is None:
            became["unnamed"] += 1
            continue
        solved = finished(replace(candidate, pair=pair), people)
        became["kept" if solved.quality.accepted else "implausible"] += 1
        if solved.quality.accepted:
            kept.append(solved)
    return Found(kept, became)


def _as_meant(pairs: Sequence[PosedPair]) -> list[PosedPair | None]:
    """Take the templates' word; in-between poses have none."""
    return [
        replace(pair, position="", top=None) if pair.template.startswith(IN_BETWEEN) else pair
        for pair in pairs
    ]
