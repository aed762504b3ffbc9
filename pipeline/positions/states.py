"""Joint states: a position together with who is on top, such as ``"mount/A"``."""

from __future__ import annotations

import pandas as pd

from pipeline.timeline import ATHLETES, POSITIONS, Athlete, coarse

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


def by_position(probabilities: pd.DataFrame) -> pd.DataFrame:
    """Fold joint states into positions.

    Parameters
    ----------
    probabilities : DataFrame, index = time in seconds, columns = joint states

    Returns
    -------
    DataFrame
        Same index; columns = position keys; rows sum to 1.
    """
    return probabilities.T.groupby(coarse, sort=False).sum().T


def top_probability(probabilities: pd.DataFrame) -> pd.Series:
    """Chance that A is on top, given that somebody is.

    Returns
    -------
    Series
        0–1, index as given; 0.5 where no state has a top.
    """
    chance = {
        athlete: probabilities[[c for c in probabilities if top_of(str(c)) == athlete]].sum(axis=1)
        for athlete in ATHLETES
    }
    either = chance["A"] + chance["B"]
    return (chance["A"] / either.where(either > 0)).fillna(0.5)
