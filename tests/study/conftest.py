"""Invented bouts whose counts can be done by hand."""

from pathlib import Path

import pytest

from pipeline.library import Library
from pipeline.outputs.study import StudyBout
from pipeline.timeline import Moment, Segment, State, Timeline

SEEN = State.ACCEPTED


def segment(start_s, end_s, position, top=None, state=SEEN):
    return Segment(start_s, end_s, position, top, state=state)


def moment(peak_s, kind, athlete, state=SEEN, half_s=0.5):
    return Moment(peak_s - half_s, peak_s, peak_s + half_s, kind, athlete, 1.0, state=state)


BY_HAND = Timeline(
    (
        segment(10, 30, "standing"),
        segment(30, 40, "takedown", "B"),
        segment(40, 70, "half_guard", "B"),
        segment(70, 100, "half_guard/knee shield", "B"),
        segment(100, 130, "side_control", "A"),
        segment(130, 150, "mount", "A"),
        segment(160, 190, "half_guard", "A"),
        segment(190, 200, "half_guard", "B", State.PROPOSED),
    ),
    (
        moment(40, "takedown", "B"),
        moment(60, "rise", "A"),
        moment(62, "sweep_attempt", "A"),
        moment(93, "lift", "A"),
        moment(100, "sweep", "A"),
        moment(130, "mount_taken", "A"),
        moment(136, "back_taken_attempt", "A"),
        moment(170, "sweep_attempt", "B", State.PROPOSED),
    ),
)
"""A is taken down, tries a sweep after a rise, sweeps after a lift, and mounts."""


@pytest.fixture
def library(tmp_path: Path) -> Library:
    return Library(tmp_path / "library")


def put(library: Library, timeline: Timeline, **details):
    """Add a bout that was read, with a timeline as its proposal."""
    import numpy as np
    import pandas as pd

    details = {"start_s": 10.0, "end_s": 200.0, "we": "A"} | details
    bout = library.add_bout(Path("invented.mp4"), 300.0, **details)
    times = np.arange(3.0)
    nothing = pd.DataFrame(index=pd.Index(times, name="time_s"))
    keypoints = np.zeros((3, 2, 17, 3), dtype=np.float32)
    library.save_reading(bout.id, times, keypoints, nothing, nothing, timeline, reader="invented")
    return library.bout(bout.id)


@pytest.fixture
def bout(library: Library) -> StudyBout:
    made = put(
        library,
        BY_HAND,
        title="Kim – Noor",
        names={"A": "Kim", "B": "Noor"},
        event="Harbour Open",
        date="2026-03-01",
        ruleset="international_federation",
    )
    return StudyBout.of(made, "A", BY_HAND)
