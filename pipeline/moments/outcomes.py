"""What coming up led to: the link from a rise or lift to the sweep after it, if there was one."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import pandas as pd

from pipeline.timeline import ATTEMPT_SUFFIX, Moment

ELEVATIONS = ("rise", "lift")
FROM_BELOW = ("sweep", "reversal", "back_taken", "stand_up")
"""Kinds that a rise or lift may lead to."""
OUTCOMES = (*FROM_BELOW, *(kind + ATTEMPT_SUFFIX for kind in FROM_BELOW))


def leads_to(elevation: Moment, outcome: Moment, within_s: float) -> bool:
    """Return whether a rise or lift counts as what led to something.

    The same athlete did both, and the outcome is reached after the rise starts and at most
    `within_s` seconds after it ends. That it came before does not show that it was the cause.
    """
    return (
        outcome.kind in OUTCOMES
        and outcome.athlete == elevation.athlete
        and elevation.start_s <= outcome.peak_s <= elevation.end_s + within_s
    )


def link_outcomes(moments: Iterable[Moment], within_s: float) -> list[Moment]:
    """Write into each rise and lift what it led to.

    The first that it leads to, see `leads_to`. Evidence ``led_to_<kind>`` is 1 for that, 0 for the
    others; ``seconds_to_outcome`` is from the start of the rise.

    Parameters
    ----------
    moments : iterable of Moment
    within_s : float

    Returns
    -------
    list of Moment
        In order of time.
    """
    ordered = sorted(moments, key=lambda m: (m.start_s, m.peak_s))
    return [_linked(m, ordered, within_s) if m.kind in ELEVATIONS else m for m in ordered]


def _linked(elevation: Moment, moments: list[Moment], within_s: float) -> Moment:
    after = [m for m in moments if leads_to(elevation, m, within_s)]
    first = min(after, key=lambda m: m.peak_s, default=None)
    kept = {k: v for k, v in elevation.evidence.items() if not k.startswith("led_to_")}
    kept.pop("seconds_to_outcome", None)
    led = {f"led_to_{kind}": float(first is not None and first.kind == kind) for kind in OUTCOMES}
    if first:
        led["seconds_to_outcome"] = first.peak_s - elevation.start_s
    return replace(elevation, evidence=kept | led)


def elevation_outcomes(moments: Iterable[Moment]) -> pd.DataFrame:
    """Count what rises and lifts led to.

    Parameters
    ----------
    moments : iterable of Moment
        As from `find_moments`.

    Returns
    -------
    DataFrame
        One row an athlete and kind; columns ``count``, one for each of `OUTCOMES`, ``nothing``.

    Examples
    --------
    >>> from pipeline.timeline import Moment
    >>> rise = Moment(1.0, 1.4, 1.8, "rise", "A", evidence={"led_to_sweep": 1.0})
    >>> elevation_outcomes([rise]).loc[("A", "rise"), "sweep"].item()
    1
    """
    rows = []
    for m in moments:
        if m.kind in ELEVATIONS:
            led = {kind: int(m.evidence.get(f"led_to_{kind}", 0)) for kind in OUTCOMES}
            rows.append({"athlete": m.athlete, "kind": m.kind, "count": 1, **led})
    columns = ["athlete", "kind", "count", *OUTCOMES]
    table = pd.DataFrame(rows, columns=columns).groupby(["athlete", "kind"]).sum()
    table["nothing"] = table["count"] - table[list(OUTCOMES)].sum(axis=1)
    return table
