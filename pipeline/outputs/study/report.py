"""The report: one HTML file that needs no other, and prints."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

import pandas as pd
from jinja2 import Environment

from pipeline.errors import MatlineError
from pipeline.library import written_whole
from pipeline.moments import usual_or
from pipeline.outputs.cautions import CAUTIONS
from pipeline.outputs.study.printing import write_pdf
from pipeline.outputs.study.sections import sections
from pipeline.outputs.study.spells import time_by_side
from pipeline.outputs.study.study import Study
from pipeline.text import counted
from pipeline.timeline import clock

SUFFIXES: tuple[str, ...] = (".html", ".pdf")


def report_html(study: Study, title: str = "") -> str:
    """Return the report of one bout or many as a self-contained HTML page.

    Parameters
    ----------
    study : Study
    title : str, optional
        By default the athletes' names, or the athlete's and the number of bouts.
    """
    template = Environment(autoescape=True, trim_blocks=True).from_string(
        (files("pipeline.outputs.study") / "report.html").read_text(encoding="utf-8")
    )
    return template.render(
        title=title or _title(study),
        subtitle=_subtitle(study),
        figures=_figures(study),
        notes=_notes(study),
        sections=sections(study),
        cautions=[*_method(study), *CAUTIONS],
    )


def write_report(study: Study, path: Path, title: str = "") -> Path:
    """Write the report, whole or not at all; return its path.

    Parameters
    ----------
    study : Study
    path : Path
        A name that ends in ``.pdf`` is printed by a browser (see `write_pdf`).
    title : str, optional

    Raises
    ------
    MatlineError
        If its name ends in neither of `SUFFIXES`, or it can't be written or printed.
    """
    suffix = path.suffix.lower()
    if suffix not in SUFFIXES:
        raise MatlineError(
            f"{path}: a report is a page or a PDF; let its name end in {' or '.join(SUFFIXES)}."
        )
    if suffix == ".pdf":
        return write_pdf(report_html(study, title), path)
    with written_whole(path) as part:
        part.write_text(report_html(study, title), encoding="utf-8")
    return path


def _title(study: Study) -> str:
    own, opponent = study.bouts[0].names
    if len(study.bouts) == 1:
        return f"{own} and {opponent}"
    return f"{own}: {len(study.bouts)} bouts"


def _subtitle(study: Study) -> str:
    dates = sorted({b.bout.date for b in study.bouts if b.bout.date})
    span = [" to ".join(dict.fromkeys((dates[0], dates[-1])))] if dates else []
    rules = sorted({_rules(b.bout.ruleset) for b in study.bouts if b.bout.ruleset})
    return " · ".join([*study.events, *span, *rules])


def _rules(key: str) -> str:
    return usual_or(key).name


def _figures(study: Study) -> list[tuple[str, str]]:
    sides = time_by_side(study.spells)
    whole = sides.sum()
    figures = [("studied", clock(whole))]
    if len(study.bouts) > 1:
        figures.insert(0, ("bouts", str(len(study.bouts))))
    return figures + [(said, f"{sides[side] / whole:.0%}") for side, said in _SIDE_WORDS.items()]


_SIDE_WORDS = {"top": "on top", "bottom": "on the bottom", "neither": "neither"}


def _notes(study: Study) -> list[str]:
    notes = []
    left_s = sum(b.left_out_s for b in study.bouts)
    left = sum(b.left_out_moments for b in study.bouts)
    if left_s >= 1 or left:
        parts = [f"{clock(left_s)} of positions"] * (left_s >= 1)
        parts += [counted(left, "moment")] * (left > 0)
        notes.append(
            f"Not counted, because nobody has accepted or corrected it yet: {' and '.join(parts)}."
        )
    if followed := sum(b.followed_moments for b in study.bouts):
        notes.append(
            f"Counted because the positions around it were accepted or corrected, though nobody "
            f"has looked at the moment itself: {counted(followed, 'moment')}."
        )
    owns = {b.names[0] for b in study.bouts}
    if len(owns) > 1:
        notes.append(
            f"These bouts are seen by different athletes ({', '.join(sorted(owns))}); ask for "
            "one athlete to study one."
        )
    rare: pd.DataFrame = study.rates[study.rates["few"]]
    if len(rare):
        notes.append(
            f"Small numbers: where fewer than {study.settings.few} attempts were seen (“few”), a "
            "share says little. Look at the interval, not at the percentage."
        )
    return notes


def _method(study: Study) -> list[str]:
    s = study.settings
    return [
        "Top and bottom are seen by the own athlete; having the back counts as top. Neither means "
        "standing, apart, a scramble, or that nobody said who was on top.",
        "An attempt is held if the position was kept as long as the rules ask; else it was "
        "reached and not held. Intervals are Wilson score intervals at "
        f"{s.confidence:.0%}: a coin that lands heads 3 times of 4 gives 30 to 95 %.",
        f"“After an elevation” means a rise or lift of the same athlete that ended at most "
        f"{s.outcome_s:.0f} seconds before. That it came before does not show that it was the "
        "cause. What followed "
        f"was seen within {s.follow_s:.0f} seconds.",
    ]
