"""Segments and features → what happened: elevations, sweeps, passes, proposed points."""

from pipeline.moments.moments import find_moments
from pipeline.moments.outcomes import elevation_outcomes, link_outcomes

__all__ = ["elevation_outcomes", "find_moments", "link_outcomes"]
