"""Segments and features → what happened: elevations, sweeps, passes, proposed points."""

from pipeline.moments.moments import find_moments
from pipeline.moments.outcomes import elevation_outcomes, link_outcomes
from pipeline.moments.points import CAUTION, Tally, propose_points
from pipeline.moments.rules import RuleSet, known_rules, rule_sets, usual_or

__all__ = [
    "CAUTION",
    "RuleSet",
    "Tally",
    "elevation_outcomes",
    "find_moments",
    "known_rules",
    "link_outcomes",
    "propose_points",
    "rule_sets",
    "usual_or",
]
