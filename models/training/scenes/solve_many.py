"""Solving all templates with many processes: the work list, the workers, the result.

Every batch has its own seed, so that the result does not depend on the number of workers. On a
GPU several workers share the card; each keeps to one CPU thread.
"""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from .contacts import Template
from .solver import SolvedPair


@dataclass(frozen=True)
class Batch:
    """One call of the solver: the template of each pair, and a seed."""

    templates: tuple[str, ...]
    seed: int


@dataclass(frozen=True)
class Tally:
    """What became of the pairs of a template; lengths in metres, means over accepted pairs.

    Attributes
    ----------
    solved, accepted : int
    contact, penetration : float
        NaN where none was accepted.
    """

    solved: int
    accepted: int
    contact: float
    penetration: float


def plan(names: Sequence[str], per_template: int, batch: int, seed: int) -> list[Batch]:
    """Cut the work into batches that mix all templates.

    Parameters
    ----------
    names : sequence of str
    per_template : int
        Pairs to solve of each (not all will be accepted).
    batch : int
        At most so many pairs in a call.
    seed : int
    """
    work = [name for _ in range(per_template) for name in names]
    parts = [tuple(work[i : i + batch]) for i in range(0, len(work), batch)]
    seeds = np.random.SeedSequence(seed).generate_state(len(parts)).tolist()
    return [Batch(part, seed) for part, seed in zip(parts, seeds, strict=True)]


_worker: Callable[[Batch], list[SolvedPair]] | None = None


def _start_worker(cast_path: str, device: str) -> None:
    global _worker
    import torch

    from .body import load_cast
    from .solver import solve_all
    from .templates import template

    torch.set_num_threads(1)
    people = load_cast(cast_path)
    mine = device
    if device == "cuda":  # the workers share all GPUs
        (number,) = multiprocessing.current_process()._identity[-1:]
        mine = f"cuda:{number % torch.cuda.device_count()}"

    def work(batch: Batch) -> list[SolvedPair]:
        chosen = [template(name) for name in batch.templates]
        return solve_all(chosen, people, batch.seed, mine)

    _worker = work


def _run(batch: Batch) -> list[SolvedPair]:
    assert _worker is not None
    return _worker(batch)


def solve_batches(
    batches: Sequence[Batch], cast_path: str | Path, device: str = "cpu", workers: int = 1
) -> Iterator[list[SolvedPair]]:
    """Solve batches as they come.

    Parameters
    ----------
    batches : sequence of Batch
    cast_path : str or Path
        A saved cast; the workers need no Anny.
    device : str
        ``"cpu"`` or ``"cuda"``.
    workers : int
        Processes.

    Yields
    ------
    list of SolvedPair
        A batch, in the order of `batches`; accepted or not.
    """
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    spawn = multiprocessing.get_context("spawn")  # CUDA does not survive a fork
    with spawn.Pool(workers, _start_worker, (str(cast_path), device)) as pool:
        yield from pool.imap(_run, batches)


def tally(solved: Sequence[SolvedPair]) -> Tally:
    """Count what was accepted."""
    good = [s.quality for s in solved if s.quality.accepted]

    def mean(values: list[float]) -> float:
        return float(np.mean(values)) if values else float("nan")

    return Tally(
        len(solved),
        len(good),
        mean([q.contact for q in good]),
        mean([q.penetration for q in good]),
    )


def choose(known: dict[str, Template], wanted: Sequence[str]) -> list[str]:
    """Names of the templates that start with one of the words, or all if there are none."""
    if not wanted:
        return list(known)
    return [name for name in known if any(name.startswith(word) for word in wanted)]
