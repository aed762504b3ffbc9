"""One time reads the same wherever it is shown."""

from __future__ import annotations

import random
import re
from pathlib import Path

import pytest
from typer.testing import CliRunner

from pipeline.cli import app
from pipeline.outputs.clips import Wanted, choose_clips
from pipeline.outputs.study import Selection, Study, report_html, select
from pipeline.overnight.clock import length
from pipeline.overnight.spots import spots
from pipeline.timeline import Moment, State, clock
from tests.review.bouts import add_bout

SEGMENTS = ((0.0, 48.7, "closed_guard", "A", 0.9), (48.7, 59.95, "mount", "B", 0.9))
SWEEP = Moment(47.1, 48.7, 49.9, "sweep", "B", confidence=0.9, state=State.ACCEPTED, id="m-sweep")


def test_a_time_in_the_terminal_the_report_and_a_clip_is_the_page_s(served):
    bout = add_bout(served.library, Path("x.mp4"), SEGMENTS, (SWEEP,), title="Long")
    for_terminal = CliRunner().invoke(app, ["bouts", "--library", str(served.library.root)]).output
    assert re.search(r"\b0:59\b.*Long", for_terminal)
    scoring = [s for s in spots(bout.id, served.library.timeline(bout.id)) if s.why == "scoring"]
    assert [str(s) for s in scoring] == ["0:48 sweep by B"]
    states = frozenset(State)
    chosen = select(served.library, Selection(bouts=(bout.id,), states=states))
    report = report_html(Study.of(chosen))
    assert "0:48" in report
    assert "0:49" not in report
    assert [clip.when for clip in choose_clips(chosen, Wanted(kinds=("sweep",)))] == ["0:48"]
    assert length(59.95) == "59 s"


@pytest.mark.browser
def test_the_page_and_the_programs_cut_every_time_alike(page):
    numbers = random.Random(5)
    times = [0.0, 0.29, 48.7, 59.999, 59.9999999, 3599.95, 3600.0, -1.5]
    times += [round(numbers.uniform(0, 9000), numbers.randint(0, 4)) for _ in range(400)]
    shown = page.evaluate(
        """async (times) => {
          const { clock } = await import('/static/words.js');
          return times.map((time) => [0, 1, 2].map((digits) => clock(time, digits))); }""",
        times,
    )
    assert shown == [[clock(time, digits) for digits in (0, 1, 2)] for time in times]
