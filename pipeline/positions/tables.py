"""What the trade knows: which position leads to which, and how long one lasts.

Both tables are CSV files beside this module; each entry gives its reason. Weights are rough
shares of what follows a position and are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import numpy as np
import pandas as pd

from pipeline.positions.states import top_of
from pipeline.timeline import coarse


@cache
def transitions() -> pd.DataFrame:
    """Return the table of transitions: from, to, top, weight, reason, source.

    ``top`` says whether the athlete on top ``keeps`` it, it ``changes``, or ``either``.
    """
    return _read("transitions.csv")


@cache
def durations() -> pd.DataFrame:
    """Return minimum and typical seconds of each position, with the reason."""
    return _read("durations.csv").set_index("position")


def _read(name: str) -> pd.DataFrame:
    with files("pipeline.positions").joinpath(name).open(encoding="utf-8") as lines:
        return pd.read_csv(lines)


@dataclass(frozen=True)
class Grammar:
    """Transitions and durations in the form decoding uses.

    Attributes
    ----------
    states : tuple of str
    log_transition : ndarray, (S, S)
        Log probability that row is followed by column, given that row ends; -inf on the diagonal.
    minimum_s, extra_s : ndarray, (S,)
        Shortest duration, and mean of what comes on top of it, seconds.
    """

    states: tuple[str, ...]
    log_transition: np.ndarray
    minimum_s: np.ndarray
    extra_s: np.ndarray


@cache
def grammar(states: tuple[str, ...], rare: float) -> Grammar:
    """Build the grammar of joint states (or plain positions).

    Parameters
    ----------
    states : tuple of str
        Joint states, position keys or ``unknown``.
    rare : float
        Weight of a transition the table doesn't list.
    """
    listed: dict[tuple[str, str, str], float] = {
        (row["from"], row["to"], row["top"]): float(row["weight"])
        for row in transitions().to_dict("records")
    }
    weight = np.array([[_weight(a, b, listed) for b in states] for a in states])
    weight = np.maximum(weight, rare)
    np.fill_diagonal(weight, 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        log_transition = np.log(weight / weight.sum(axis=1, keepdims=True))
    if len(states) == 1:
        log_transition = np.full((1, 1), -np.inf)
    lasting = durations().loc[[coarse(state) for state in states]]
    minimum = lasting["minimum_s"].to_numpy(dtype=float)
    extra = np.maximum(lasting["typical_s"].to_numpy(dtype=float) - minimum, 0.5)
    return Grammar(states, log_transition, minimum, extra)


def _weight(a: str, b: str, listed: dict[tuple[str, str, str], float]) -> float:
    pair = coarse(a), coarse(b)
    tops = top_of(a), top_of(b)
    either = listed.get((*pair, "either"), 0.0)
    if None in tops:
        both = [listed.get((*pair, way), 0.0) for way in ("keeps", "changes")]
        if tops[1] is not None:
            return either / 2 + sum(both) / 2
        return either + sum(both)
    return either / 2 + listed.get((*pair, "keeps" if tops[0] == tops[1] else "changes"), 0.0)
