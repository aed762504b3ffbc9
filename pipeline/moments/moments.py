"""Features and segments → moments."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from pipeline.moments.elevations import find_elevations
from pipeline.moments.outcomes import link_outcomes
from pipeline.moments.spells import spells
from pipeline.moments.transitions import find_transitions
from pipeline.settings import MomentsSettings
from pipeline.timeline import Moment, Segment


def find_moments(
    features: pd.DataFrame, segments: Sequence[Segment], settings: MomentsSettings | None = None
) -> list[Moment]:
    """Find what happened in a bout; definitions in docs/moments.md.

    Parameters
    ----------
    features : DataFrame
        As from `pipeline.geometry.features`, index ``time_s``.
    segments : sequence of Segment
        Half-open, without overlap.
    settings : MomentsSettings, optional

    Returns
    -------
    list of Moment
        In order of time, each with the numbers that fired it.
    """
    settings = settings or MomentsSettings()
    parts = spells(segments, settings.reached_s, settings.pause_s)
    found = find_elevations(features, segments, settings) + find_transitions(parts, settings)
    return link_outcomes(found, settings.outcome_s)
