"""Tables of joint states, such as ``"mount/A"``: folded into positions, and into who is on top."""

from __future__ import annotations

import pandas as pd

from pipeline.timeline import ATHLETES, coarse
from pipeline.timeline.states import STATES, exchanged, joint, top_of

__all__ = ["STATES", "by_position", "exchanged", "joint", "top_of", "top_probability"]


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
