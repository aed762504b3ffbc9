"""Study: what was counted over bouts, as tidy tables and as a report to hand out.

Start with `select` and `Study.of`::

    study = Study.of(select(Library(), Selection(athlete="Kim")))
    write_report(study, Path("report.html"))
"""

from pipeline.outputs.study.attempts import attempts, elevations, rates, wilson
from pipeline.outputs.study.report import report_html, write_report
from pipeline.outputs.study.selection import VOUCHED, Selection, StudyBout, select
from pipeline.outputs.study.spells import (
    entries_and_exits,
    first_and_last,
    spells,
    time_by_side,
    time_in_positions,
    transition_matrix,
    transitions,
)
from pipeline.outputs.study.study import Study

__all__ = [
    "VOUCHED",
    "Selection",
    "Study",
    "StudyBout",
    "attempts",
    "elevations",
    "entries_and_exits",
    "first_and_last",
    "rates",
    "report_html",
    "select",
    "spells",
    "time_by_side",
    "time_in_positions",
    "transition_matrix",
    "transitions",
    "wilson",
    "write_report",
]
