"""What a good pair of poses is: contacts, compiled into flat tensors for a batch of pairs.

Every pair has its own template, people, draw of the ranges and alternatives; a contact is one row
that knows which pair it belongs to.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np
import torch
from torch import Tensor

from .contacts import Contact, Template
from .rig import PosedSpheres, Selection
from .spots import Spot

_KINDS = ("mat", "touch", "apart", "height", "below", "direction")


class _End(NamedTuple):
    """One end of many contacts."""

    body: Tensor
    sphere: Tensor
    lever: Tensor
    radius: Tensor
    thickness: Tensor

    def centre(self, posed: PosedSpheres) -> Tensor:
        return posed.centre[self.body, self.sphere]

    def point(self, posed: PosedSpheres) -> Tensor:
        turn = posed.rotation[self.body, self.sphere]
        return self.centre(posed) + (turn @ self.lever[..., None])[..., 0]


class _Rows(NamedTuple):
    """All contacts of one kind, whichever pair they belong to."""

    pair: Tensor
    first: _End
    second: _End
    value: Tensor
    towards: Tensor
    weight: Tensor


def _drawn_contacts(template: Template, rng: np.random.Generator) -> Iterator[Contact]:
    """The contacts of one pair: what always holds and one alternative of each choice."""
    yield from template.contacts
    for alternatives in template.choices:
        yield from alternatives[rng.integers(len(alternatives))]


class Objective:
    """The contacts of a batch.

    Parameters
    ----------
    templates : sequence of Template, length B
        One for each pair.
    names : sequence of str
        Sphere names, in the rig's order.
    bodies : Selection
        Of 2 B people: all A, then all B.
    rng : numpy Generator
    """

    def __init__(
        self,
        templates: Sequence[Template],
        names: Sequence[str],
        bodies: Selection,
        rng: np.random.Generator,
    ):
        self.batch = len(templates)
        self._bodies = bodies
        self._sphere = {name: i for i, name in enumerate(names)}
        drawn = [(i, c) for i, t in enumerate(templates) for c in _drawn_contacts(t, rng)]
        self.contacts = {k: [(i, c) for i, c in drawn if c.kind == k] for k in _KINDS}
        self._rows = {k: self._compile(rows, rng) for k, rows in self.contacts.items() if rows}

    def _float(self, values: object) -> Tensor:
        array = np.asarray(values, np.float32)
        return torch.as_tensor(array, device=self._bodies.radius.device)

    def _index(self, rows: Sequence[int]) -> Tensor:
        return torch.tensor(rows, dtype=torch.long, device=self._bodies.radius.device)

    def _compile(self, rows: Sequence[tuple[int, Contact]], rng: np.random.Generator) -> _Rows:
        pairs = [i for i, _ in rows]
        return _Rows(
            pair=self._index(pairs),
            first=self._end(pairs, [c.first for _, c in rows]),
            second=self._end(pairs, [c.second or c.first for _, c in rows]),
            value=self._float([rng.uniform(*c.value) / 100 for _, c in rows]),
            towards=self._float([c.direction for _, c in rows]),
            weight=self._float([c.weight for _, c in rows]),
        )

    def _end(self, pairs: Sequence[int], spots: Sequence[Spot]) -> _End:
        body = self._index([s.athlete * self.batch + i for i, s in zip(pairs, spots, strict=True)])
        sphere = self._index([self._sphere[s.sphere] for s in spots])
        radius = self._bodies.radius[body, sphere]
        direction = self._float([s.direction or (0, 0, 0) for s in spots])
        whole = self._float([s.direction is None for s in spots])
        return _End(body, sphere, direction * radius[:, None], radius, radius * whole)

    def errors(self, posed: PosedSpheres) -> dict[str, Tensor]:
        """How far each statement is from being true.

        Parameters
        ----------
        posed : PosedSpheres
            Of the 2 B bodies.

        Returns
        -------
        dict of str to Tensor, (C,)
            By kind, in the order of ``contacts``; metres (for directions a comparable number,
            0.35 m at 60°).
        """
        return {kind: _error(kind, rows, posed) for kind, rows in self._rows.items()}

    def loss(self, posed: PosedSpheres) -> Tensor:
        """Weighted sum of squared errors over the batch."""
        errors = self.errors(posed)
        terms = [(rows.weight * errors[k].square()).sum() for k, rows in self._rows.items()]
        return torch.stack(terms).sum()

    def contact_error(self, posed: PosedSpheres) -> tuple[Tensor, Tensor]:
        """Mean and worst gap of what should touch (each other or the mat), (B,) metres."""
        errors = self.errors(posed)
        kinds = [k for k in ("mat", "touch") if k in self._rows]
        error = torch.cat([errors[k] for k in kinds])
        pair = torch.cat([self._rows[k].pair for k in kinds])
        nothing = torch.zeros(self.batch, device=error.device)
        mean = nothing.scatter_reduce(0, pair, error, "mean", include_self=False)
        return mean, nothing.scatter_reduce(0, pair, error, "amax")


def _error(kind: str, rows: _Rows, posed: PosedSpheres) -> Tensor:
    if kind == "mat":
        return (rows.first.centre(posed)[:, 2] - rows.first.radius).abs()
    if kind == "height":
        return (rows.first.centre(posed)[:, 2] - rows.value).abs()
    first, second = rows.first.point(posed), rows.second.point(posed)
    if kind == "below":
        return (first[:, 2] - second[:, 2] + rows.value).clamp(min=0)
    if kind == "direction":
        along = second - first
        cosine = (along * rows.towards).sum(-1) / along.norm(dim=-1).clamp(min=1e-6)
        return 0.5 * (1 - cosine).clamp(min=1e-6).sqrt()
    gap = (first - second).square().sum(-1).add(1e-10).sqrt()
    if kind == "touch":
        return (gap - rows.first.thickness - rows.second.thickness - rows.value).clamp(min=0)
    return (rows.value - gap).clamp(min=0)  # apart
