"""What a run of stills came to, as lines to print."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

import numpy as np

from .stills import Made

if TYPE_CHECKING:
    from .bouts import Told


def lines(made: Made, simulations: int, seconds: float) -> Iterator[str]:
    """Yield shares, figures, and what the judge says by where a simulation began."""
    stills = sum(made.became.values())
    yield (
        f"{simulations} simulations in {seconds:.0f} s, {len(made.kept)} stills kept "
        f"({len(made.kept) / seconds:.1f} a second)"
    )
    for what, count in made.became.most_common():
        yield f"  {what:12s} {count:6d}  {100 * count / stills:3.0f} %"
    if made.figures:
        depth, past = np.array(made.figures).T
        yield (
            f"  depth on the mesh: median {100 * np.median(depth):.1f} cm, "
            f"{100 * (depth <= 0.03).mean():.0f} % within 3 cm; past a joint's limit: median "
            f"{np.degrees(np.median(past)):.1f}°, 95 % within "
            f"{np.degrees(np.quantile(past, 0.95)):.1f}°"
        )
    yield from table(made.moves)


def table(moves: Counter[tuple[str, str]]) -> Iterator[str]:
    """Yield a line for each position that simulations began in: what the judge called the end."""
    for began in sorted({start for start, _ in moves}):
        ends = Counter({end: n for (start, end), n in moves.items() if start == began})
        whole = sum(ends.values())
        named = ", ".join(
            f"{end or 'unnamed'} {100 * n / whole:.0f} %" for end, n in ends.most_common(5)
        )
        yield f"  {began or 'unnamed':16s} {whole:6d}: {named}"


def bout_lines(told: Sequence[Told | None], seconds: float) -> Iterator[str]:
    """Yield how many bouts there are, how long, and the share of time of each position."""
    made = [t for t in told if t is not None]
    yield f"{len(made)} of {len(told)} bouts made in {seconds:.0f} s; the others came apart"
    if not made:
        return
    whole = sum(t.seconds for t in made)
    shares: Counter[str] = Counter()
    for t in made:
        shares.update(t.shares)
    yield f"  {whole / 60:.1f} minutes; " + ", ".join(
        f"{position} {100 * spent / whole:.0f} %" for position, spent in shares.most_common()
    )
    yield (
        f"  capsules overlap by at most {100 * max(t.depth for t in made):.1f} cm in 95 % of a "
        f"bout's time; past a joint's limit by at most "
        f"{np.degrees(max(t.past_limit for t in made)):.0f}°"
    )
