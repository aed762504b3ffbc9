"""What a run of compositions has made so far: kept, counted, written every minute."""

from __future__ import annotations

import time
from collections import Counter, defaultdict
from collections.abc import Callable, Sequence
from pathlib import Path

from .compose_many import Found
from .composition.mixing import IN_BETWEEN, OTHERWISE
from .pairs_file import save_pairs
from .solver import SolvedPair

EACH_PART = 50_000
"""Pairs in a part of a pack: about 12 MB."""
_EVERY_S = 60.0


def part_of(path: Path, number: int) -> Path:
    """Name a part of a pack: ``pack.npz``, ``pack_2.npz``, ``pack_3.npz`` …"""
    return path if number == 1 else path.with_name(f"{path.stem}_{number}{path.suffix}")


class Progress:
    """Collects what is found and writes it in parts, so that none is written over and over.

    Parameters
    ----------
    out : Path
        The first part; see `part_of`.
    say : callable
        Prints a line.
    each : int
        Pairs in a part.
    """

    def __init__(self, out: Path, say: Callable[[str], object], each: int = EACH_PART) -> None:
        self.kept: list[SolvedPair] = []
        self.became: Counter[str] = Counter()
        self._out, self._say, self._each = out, say, each
        self._whole = 0
        self._began = self._saved = time.monotonic()

    def add(self, found: Found) -> None:
        """Take in what a worker found."""
        self.kept += found.kept
        self.became += found.became
        if self.kept and time.monotonic() - self._saved > _EVERY_S:
            self._write()

    def end(self) -> None:
        """Write for the last time and print the tables."""
        self._write()
        for line in tables(self.kept):
            self._say(line)

    def _write(self) -> None:
        for start in range(self._whole * self._each, len(self.kept), self._each):
            part = self.kept[start : start + self._each]
            save_pairs(part_of(self._out, start // self._each + 1), part, compact=True)
        self._whole = len(self.kept) // self._each
        self._saved = time.monotonic()
        spent = self._saved - self._began
        became = ", ".join(f"{n} {what}" for what, n in self.became.most_common())
        self._say(f"{spent:.0f} s: {became}; {len(self.kept) / spent:.1f} kept a second")


def tables(kept: Sequence[SolvedPair]) -> list[str]:
    """Lines that count pairs by position and family."""
    families: dict[str, Counter[str]] = defaultdict(Counter)
    sources: dict[str, Counter[str]] = defaultdict(Counter)
    for solved in kept:
        family = solved.pair.template.split(" / ")[0]
        families[solved.pair.position][family] += 1
        sources[solved.pair.position][family if family in (IN_BETWEEN, OTHERWISE) else ""] += 1
    different = len({s.pair.template for s in kept})
    lines = [f"{'position':17s} {'pairs':>7s} {'meant':>7s} {IN_BETWEEN:>11s} {OTHERWISE:>13s}"]
    for position, counts in sorted(sources.items()):
        meant, between, other = (counts[name] for name in ("", IN_BETWEEN, OTHERWISE))
        lines.append(f"{position:17s} {counts.total():7d} {meant:7d} {between:11d} {other:13d}")
        lines.append("    " + ", ".join(f"{f} {n}" for f, n in families[position].most_common()))
    lines.append(f"{len(kept)} pairs of {different} different compositions")
    return lines
