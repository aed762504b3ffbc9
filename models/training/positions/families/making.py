"""Bouts of some families only, to learn from or to judge by."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from models.training.positions.data import CHOICE, StoredBout
from models.training.scenes.body import Person, load_cast
from models.training.scenes.families import family_of, kept
from models.training.scenes.pairs_file import Pairs, load_pairs
from models.training.scenes.pose import PosedPair
from models.training.scenes.templates import lasting, templates


@dataclass(frozen=True)
class Source:
    """Files that bouts are made of.

    Attributes
    ----------
    cast : Path
    pairs : tuple of Path
    """

    cast: Path
    pairs: tuple[Path, ...]


@dataclass(frozen=True)
class Order:
    """One bout to be made.

    Attributes
    ----------
    source : Source
    fold : int
        Whose families are left out.
    number : int
        Of the bout within its fold.
    unseen : bool
        Whether the bout is made of the written families that are left out, not of the others.
    seconds : float
    steps : int
        Of settling.
    """

    source: Source
    fold: int
    number: int
    unseen: bool
    seconds: float
    steps: int

    @property
    def seed(self) -> int:
        """Another for every bout there can be."""
        return 10_000_000 * self.unseen + 1_000_000 * (self.fold + 1) + self.number

    @property
    def name(self) -> str:
        """Of the file."""
        return f"bout-{self.number:05d}"


@dataclass(frozen=True)
class Material:
    """Solved pairs by template, and the people they were solved for."""

    people: Sequence[Person]
    pairs: Pairs
    rows: dict[str, np.ndarray]
    positions: dict[str, str]

    def some(self, name: str, rng: np.random.Generator, count: int = CHOICE) -> list[PosedPair]:
        """Draw a few pairs of a template, the athlete in the top role first."""
        from models.training.scenes.solver import swap

        chosen = rng.permutation(self.rows[name])[:count]
        drawn = [self.pairs[int(row)] for row in chosen]
        return [swap(pair) if pair.top == "B" else pair for pair in drawn]


@cache
def material(source: Source) -> Material:
    """Read a source once a process; pairs without a name, or of stills only, are left out."""
    import torch

    torch.set_num_threads(1)
    pairs = load_pairs(*source.pairs)
    rows: dict[str, np.ndarray] = {}
    positions: dict[str, str] = {}
    order = np.argsort(pairs.template, kind="stable")
    starts = np.searchsorted(pairs.template[order], np.arange(len(pairs.templates) + 1))
    for i, template in enumerate(pairs.templates):
        own = order[starts[i] : starts[i + 1]]
        if not len(own):
            continue
        keys, counts = np.unique(pairs.position[own], return_counts=True)
        commonest = keys[counts.argmax()]
        position = str(pairs.positions[commonest])
        if position:
            rows[str(template)] = own[pairs.position[own] == commonest]
            positions[str(template)] = position
    return Material(load_cast(source.cast), pairs, rows, positions)


def chosen(known: dict[str, str], fold: int, unseen: bool) -> dict[str, str]:
    """Return the templates, with their positions, that bouts of a fold are made of.

    Bouts to judge by are made of written templates only, whatever else there is.
    """
    learned = set(kept(known, fold))
    if unseen:
        names = [name for name in known if name in templates() and name not in learned]
    else:
        names = [name for name in known if name in learned]
    stills = {name for name, template in templates().items() if template.still}
    return lasting({n: known[n] for n in names if family_of(n) not in stills})


def mixed(names: dict[str, str], rng: np.random.Generator) -> dict[str, str]:
    """Return all written templates, and of each position as many others at most, drawn anew.

    Composed templates are many times more: a bout that drew among all of them would hardly ever
    show a written one, nor a rise or lift, which are told by their names.
    """
    drawn = {name: where for name, where in names.items() if name in templates()}
    others: dict[str, list[str]] = {}
    for name, where in names.items():
        if name not in drawn:
            others.setdefault(where, []).append(name)
    for where, some in sorted(others.items()):
        most = max(sum(of == where for of in names.values()) - len(some), 1)
        drawn |= {str(name): where for name in rng.permutation(sorted(some))[:most]}
    return drawn


def make(order: Order) -> StoredBout:
    """Make a bout; the same for the same order."""
    from models.training.scenes.bouts import library_for, play
    from models.training.scenes.grammar import plan_bout
    from models.training.scenes.settle import SettleSettings

    found = material(order.source)
    rng = np.random.default_rng((order.seed, 2))
    positions = mixed(chosen(found.positions, order.fold, order.unseen), rng)
    plan = plan_bout(np.random.default_rng((order.seed, 0)), positions, order.seconds)
    a, b = (int(row) for row in rng.permutation(len(found.people))[:2])
    names = sorted({hold.template for hold in plan})
    library = library_for((pair for name in names for pair in found.some(name, rng)), (a, b))
    settings = SettleSettings(steps=order.steps)
    bout = play(plan, order.seed, found.people, (a, b), library, settings=settings)
    return StoredBout(order.name, (a, b), bout.times, bout.keypoints, bout.spheres, bout.timeline)
