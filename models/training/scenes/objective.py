"""What a good pair of poses is: a template's contacts, compiled into tensors for a batch.

Every pair of a batch has its own people, its own draw of the ranges and its own alternatives:
contacts that a pair did not draw have weight 0.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import torch
from torch import Tensor

from .contacts import Contact, Range, Template
from .rig import PosedSpheres, Selection
from .spots import Spot


def draw(rng: np.random.Generator, value: Range, n: int) -> np.ndarray:
    """Draw n numbers of a range."""
    return rng.uniform(*value, size=n)


class Objective:
    """The contacts of one template for B pairs.

    Parameters
    ----------
    template : Template
    names : sequence of str
        Sphere names, in the rig's order.
    bodies : Selection
        Of 2 B people: all A, then all B.
    rng : numpy Generator
    """

    def __init__(
        self, template: Template, names: Sequence[str], bodies: Selection, rng: np.random.Generator
    ):
        self.batch = len(bodies.radius) // 2
        self.device = bodies.radius.device
        contacts, weights = self._all_with_weights(template, rng)
        self.contacts = contacts
        value = np.array([draw(rng, c.value, self.batch) / 100 for c in contacts])
        self._spots: list[Spot] = []
        self._row: dict[Spot, int] = {}
        self._row_of = {name: i for i, name in enumerate(names)}
        self._groups: dict[str, tuple[Tensor, Tensor, Tensor, Tensor, Tensor]] = {}
        for kind in ("mat", "touch", "apart", "height", "below", "direction"):
            rows = [i for i, c in enumerate(contacts) if c.kind == kind]
            if rows:
                self._groups[kind] = (
                    self._index([self._use(contacts[i].first) for i in rows]),
                    self._index([self._use(contacts[i].second or contacts[i].first) for i in rows]),
                    self._float(value[rows]),
                    self._float(np.array([contacts[i].direction for i in rows])),
                    self._float(weights[rows]),
                )
        self._sphere = self._index([self._row_of[s.sphere] for s in self._spots])
        self._athlete = self._index([s.athlete for s in self._spots])
        self._towards = self._float(np.array([s.direction or (0, 0, 0) for s in self._spots]))
        radius = bodies.radius.unflatten(0, (2, self.batch))[self._athlete, :, self._sphere]
        whole = self._float(np.array([s.direction is None for s in self._spots], float))
        self._radius = radius
        self._thickness = radius * whole[:, None]

    def _all_with_weights(
        self, template: Template, rng: np.random.Generator
    ) -> tuple[list[Contact], np.ndarray]:
        """Every contact of every alternative, and its weight for each pair, (C, B)."""
        contacts = list(template.contacts)
        drawn = [np.ones(self.batch, bool)] * len(contacts)
        for alternatives in template.choices:
            chosen = rng.integers(len(alternatives), size=self.batch)
            for i, alternative in enumerate(alternatives):
                contacts += alternative
                drawn += [chosen == i] * len(alternative)
        weight = np.array([c.weight for c in contacts])
        return contacts, weight[:, None] * np.array(drawn)

    def _float(self, array: np.ndarray) -> Tensor:
        return torch.as_tensor(array, dtype=torch.float32, device=self.device)

    def _index(self, rows: list[int]) -> Tensor:
        return torch.tensor(rows, dtype=torch.long, device=self.device)

    def _use(self, spot: Spot) -> int:
        if spot not in self._row:
            self._row[spot] = len(self._spots)
            self._spots.append(spot)
        return self._row[spot]

    def errors(self, posed: PosedSpheres) -> dict[str, tuple[Tensor, Tensor]]:
        """How far each statement is from being true.

        Parameters
        ----------
        posed : PosedSpheres
            Of the 2 B bodies.

        Returns
        -------
        dict of str to (error, weight), each (C, B)
            By kind of contact; metres (for directions a comparable number, 0.35 m at 60°).
        """
        centre = posed.centre.unflatten(0, (2, self.batch))[self._athlete, :, self._sphere]
        turn = posed.rotation.unflatten(0, (2, self.batch))[self._athlete, :, self._sphere]
        lever = self._towards[:, None] * self._radius[..., None]
        point = centre + (turn @ lever[..., None])[..., 0]
        out = {}
        for kind, (first, second, value, towards, weight) in self._groups.items():
            if kind == "mat":
                error = (centre[first, :, 2] - self._radius[first]).abs()
            elif kind == "height":
                error = (centre[first, :, 2] - value).abs()
            elif kind == "below":
                error = (point[first, :, 2] - point[second, :, 2] + value).clamp(min=0)
            elif kind == "direction":
                along = point[second] - point[first]
                cosine = (along * towards[:, None]).sum(-1) / along.norm(dim=-1).clamp(min=1e-6)
                error = 0.5 * (1 - cosine).clamp(min=1e-6).sqrt()
            else:
                gap = (point[first] - point[second]).square().sum(-1).add(1e-10).sqrt()
                if kind == "touch":
                    reach = self._thickness[first] + self._thickness[second] + value
                    error = (gap - reach).clamp(min=0)
                else:
                    error = (value - gap).clamp(min=0)
            out[kind] = (error, weight)
        return out

    def loss(self, posed: PosedSpheres) -> Tensor:
        """Weighted sum of squared errors, (B,)."""
        total = torch.zeros(self.batch, device=self.device)
        for error, weight in self.errors(posed).values():
            total = total + (weight * error.square()).sum(0)
        return total

    def contact_error(self, posed: PosedSpheres) -> tuple[Tensor, Tensor]:
        """Mean and worst gap of what should touch (each other or the mat), (B,) metres."""
        found = [pair for kind, pair in self.errors(posed).items() if kind in ("mat", "touch")]
        error = torch.cat([e for e, _ in found])
        drawn = torch.cat([w for _, w in found]) > 0
        mean = (error * drawn).sum(0) / drawn.sum(0).clamp(min=1)
        return mean, (error * drawn).amax(0)
