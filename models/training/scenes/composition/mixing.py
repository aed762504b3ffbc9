"""In-between poses: contacts of one position, fewer of them, from where another one left off."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..contacts import Template
from ..pose import PosedPair

IN_BETWEEN = "in between"
OTHERWISE = "judged other"
"""Families of what a judge has to name: no template says what it is."""

_SAME_POSITION = 0.6
_KEPT = (0.35, 0.9)


@dataclass(frozen=True)
class Mixed:
    """What to solve, and the pair to begin from."""

    template: Template
    start: PosedPair


def mixed(
    templates: Sequence[Template], starts: Sequence[PosedPair], rng: np.random.Generator
) -> list[Mixed]:
    """Draw for each template a pair to begin from, and drop some of its contacts.

    What rests on the mat is never dropped, so that nobody hangs in the air.

    Parameters
    ----------
    templates : sequence of Template
    starts : sequence of PosedPair
        At least one; mostly one of the same position is taken, if there is any.
    rng : numpy Generator

    Returns
    -------
    list of Mixed
        Named ``"in between / <family it began from> / <template>"``.
    """
    return [_mixed(template, starts, rng) for template in templates]


def _mixed(template: Template, starts: Sequence[PosedPair], rng: np.random.Generator) -> Mixed:
    near = [pair for pair in starts if pair.position == template.position]
    among = near if near and rng.random() < _SAME_POSITION else starts
    start = among[int(rng.integers(len(among)))]
    share = rng.uniform(*_KEPT)
    kept = tuple(c for c in template.contacts if c.kind == "mat" or rng.random() < share)
    family = start.template.split(" / ")[0]
    name = f"{IN_BETWEEN} / {family} / {template.name}"
    return Mixed(replace(template, name=name, contacts=kept), start)
