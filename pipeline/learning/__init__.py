"""A reader that gets better with what a person accepts and corrects.

Start with `learn`::

    outcome = learn(Library())
    outcome.before, outcome.after
"""

from pipeline.learning.judging import Figures, judge
from pipeline.learning.learn import Outcome, learn
from pipeline.learning.samples import Samples, SeenBout, seen_bouts
from pipeline.learning.suspects import suspect_samples, suspect_segments
from pipeline.learning.tuning import Trial, bend, cross_validate
from pipeline.learning.versions import SHIPPED, Version, Versions

__all__ = [
    "SHIPPED",
    "Figures",
    "Outcome",
    "Samples",
    "SeenBout",
    "Trial",
    "Version",
    "Versions",
    "bend",
    "cross_validate",
    "judge",
    "learn",
    "seen_bouts",
    "suspect_samples",
    "suspect_segments",
]
