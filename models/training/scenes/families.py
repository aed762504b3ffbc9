"""Families of poses, and folds over them: what to leave out to see how far learning reaches.

A family is a template with everything solved from it, drawn around it and mirrored. A template that
was composed is named ``"family / parts"``; where its legs are those of a written template, it is of
that template's family, so that leaving a family out leaves both out.
"""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Iterable, Mapping
from functools import cache
from pathlib import Path

from .templates import templates

FOLDS = 5
_SETTLED = Path(__file__).with_name("folds.csv")


def family_of(template: str) -> str:
    """Return the family of a template's name: the part before ``" / "``."""
    return template.split(" / ", 1)[0]


def fold_of(family: str, position: str, folds: int = FOLDS) -> int:
    """Return the fold in which a family is left out, 0 to `folds` − 1.

    Families of each position are dealt out in the order of their names, so that a position of two
    or more families is always both learned from and judged. A family that no written template
    has is in none: −1.
    """
    return written_folds(folds).get((position, family), -1)


def written_folds(folds: int = FOLDS) -> dict[tuple[str, str], int]:
    """Return the fold of each written template, by position and family."""
    positions = {family_of(name): t.position for name, t in templates().items()}
    return deal(positions, folds, settled() if folds == FOLDS else {})


@cache
def settled() -> dict[str, int]:
    """Return the folds that families were in when figures were first taken.

    They stay, however many families are written later, so that figures go on being comparable.
    """
    with _SETTLED.open(encoding="utf-8", newline="") as lines:
        return {row["family"]: int(row["fold"]) for row in csv.DictReader(lines)}


def deal(
    positions: Mapping[str, str], folds: int = FOLDS, settled: Mapping[str, int] | None = None
) -> dict[tuple[str, str], int]:
    """Deal families, given their positions, into folds.

    Each goes where its position, then all together, have the fewest so far.

    Parameters
    ----------
    positions : mapping of str to str
        Position of each family.
    folds : int
    settled : mapping of str to int, optional
        Families whose fold stands.
    """
    settled = settled or {}
    dealt = {(p, family): settled[family] for family, p in positions.items() if family in settled}
    for position, family in sorted((p, family) for family, p in positions.items()):
        if (position, family) not in dealt:
            own = Counter(fold for (where, _), fold in dealt.items() if where == position)
            everyone = Counter(dealt.values())
            dealt[position, family] = min(range(folds), key=lambda f: (own[f], everyone[f], f))
    return dealt


def left_out(fold: int, folds: int = FOLDS) -> set[str]:
    """Return the families that a fold leaves out."""
    return {family for (_, family), of in written_folds(folds).items() if of == fold}


def kept(names: Iterable[str], fold: int, folds: int = FOLDS) -> list[str]:
    """Return the templates' names whose families a fold does not leave out.

    A pose between two templates, or judged to be another position than was meant, is named after
    all that it came from, and goes with any of them.
    """
    gone = left_out(fold, folds)
    return [name for name in names if not gone.intersection(name.split(" / "))]
