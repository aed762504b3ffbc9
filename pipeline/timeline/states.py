"""Joint states: a position together with who is on top, such as ``"mount/A"``."""

from __future__ import annotations

from pipeline.timeline.model import ATHLETES, Athlete
from pipeline.timeline.vocabulary import POSITIONS, coarse

STATES: tuple[str, ...] = tuple(
    f"{p.key}/{athlete}" if p.has_top else p.key
    for p in POSITIONS
    for athlete in (ATHLETES if p.has_top else ("A",))
)
"""Columns of what `PositionModel.predict` returns; the part before the slash is a position."""


def joint(position: str, top: Athlete | None) -> str:
    """Return the joint state of a position and a top athlete."""
    return f"{coarse(position)}/{top}" if top else coarse(position)


def top_of(state: str) -> Athlete | None:
    """Return who is on top in a joint state."""
    return next((athlete for athlete in ATHLETES if state.endswith(f"/{athlete}")), None)


def exchanged(state: str) -> str:
    """Return the state after athlete A and athlete B change names."""
    top = top_of(state)
    return f"{coarse(state)}/{'B' if top == 'A' else 'A'}" if top else state


EXCHANGED: tuple[int, ...] = tuple(STATES.index(exchanged(state)) for state in STATES)
"""For each of `STATES`, the index of the one it is after A and B change names."""
