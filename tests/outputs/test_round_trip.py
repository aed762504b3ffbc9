"""A file we wrote reads back, and what a human changed in it lands in the journal, nothing else."""

import csv
import io
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.errors import MatlineError
from pipeline.library import Library
from pipeline.outputs import (
    export_bout,
    import_file,
    moments_from_csv,
    moments_to_csv,
    segments_from_csv,
    segments_to_csv,
    timeline_from_webvtt,
    timeline_to_webvtt,
    webvtt_problems,
)
from pipeline.timeline import MOMENT_KINDS, POSITION_KEYS, Correction, Moment, Segment, Timeline

BOUT = Timeline(
    (
        Segment(0, 10.04, "standing", id="s1", confidence=0.9),
        Segment(10.04, 20.1234567, "closed_guard/high", "A", id="s2", confidence=0.6),
        Segment(20.1234567, 30, "north_south", "B", id="s3", note="left\n\nright"),
    ),
    (
        Moment(18, 19, 21, "sweep", "B", strength=3.2, evidence={"held_s": 3.2}, id="m1"),
        Moment(25, 25, 25, "rise_attempt", None, id="m2"),
    ),
)

text = st.text(max_size=30)
hostile = st.sampled_from(
    [
        "=1+1",
        "@SUM(A1)",
        "-->",
        "a\n\nb",
        "<script>",
        "&amp;",
        "'quoted",
        '"; DROP',
        "a,b;c\td",
        "+1",
    ]
)


@st.composite
def timelines(draw) -> Timeline:
    borders = sorted(draw(st.sets(st.integers(0, 100_000), min_size=2, max_size=8)))
    segments = [
        Segment(
            start / 1000,
            end / 1000,
            draw(st.sampled_from(POSITION_KEYS)),
            draw(st.sampled_from(["A", "B", None])),
            note=draw(text | hostile),
        )
        for start, end in pairwise(borders)
    ]
    moments = [
        Moment(
            t / 1000, t / 1000, (t + 1000) / 1000, draw(st.sampled_from(MOMENT_KINDS)), "A", note=n
        )
        for t, n in draw(st.lists(st.tuples(st.integers(0, 90_000), text | hostile), max_size=4))
    ]
    return Timeline(tuple(segments), tuple(moments))


@settings(max_examples=100, deadline=None)
@given(timelines())
def test_csv_gives_back_exactly_what_was_written(timeline):
    assert tuple(segments_from_csv(segments_to_csv(timeline.segments))) == timeline.segments
    assert tuple(moments_from_csv(moments_to_csv(timeline.moments))) == timeline.moments


@settings(max_examples=100, deadline=None)
@given(timelines())
def test_webvtt_is_valid_and_says_the_same_after_another_round(timeline):
    written = timeline_to_webvtt(timeline)
    assert webvtt_problems(written) == []
    once = timeline_from_webvtt(written)
    assert timeline_to_webvtt(once) == written
    for was, read in zip(timeline.segments, once.segments, strict=True):
        assert (read.start_s, read.end_s) == pytest.approx((was.start_s, was.end_s), abs=1e-3)
        assert (read.position, read.top, read.id) == (was.position, was.top, was.id)
    assert [(m.kind, m.athlete, m.id) for m in once.moments] == [
        (m.kind, m.athlete, m.id) for m in timeline.moments
    ]


@settings(max_examples=60, deadline=None)
@given(text | hostile)
def test_no_cell_of_a_note_is_run_by_a_spreadsheet(note):
    # OWASP, "CSV Injection": cells that start with = + - @ tab or return are formulas.
    written = segments_to_csv([replace(BOUT.segments[0], note=note)])
    for row in csv.reader(io.StringIO(written, newline="")):
        assert not any(cell.startswith(("=", "+", "-", "@", "\t", "\r")) for cell in row)


def test_a_spreadsheet_may_use_semicolons_decimal_commas_and_clocks():
    edited = "start_s;end_s;position;top\r\n0;10,5;standing;\r\n0:00:10.5;1:02;mount;a\r\n\r\n"
    read = segments_from_csv("\ufeff" + edited)
    assert [(s.start_s, s.end_s, s.position, s.top) for s in read] == [
        (0, 10.5, "standing", None),
        (10.5, 62, "mount", "A"),
    ]


def test_a_line_copied_in_a_spreadsheet_becomes_a_new_segment():
    lines = segments_to_csv(BOUT.segments[:1]).splitlines()
    copied = lines[1].replace("0.0,10.04", "10.04,12.0")
    read = segments_from_csv("\n".join([*lines, copied]))
    assert read[0].id == "s1"
    assert read[1].id != "s1"


@pytest.mark.parametrize(
    ("written", "complaint"),
    [
        ("end_s,position\n", "start_s is missing"),
        ("start_s,end_s,position,colour\n", "unknown column colour"),
        ("start_s,end_s,position\n1,2\n", "Line 2: it doesn't have as many cells"),
        ("start_s,end_s,position\nsoon,2,mount\n", "Line 2: “soon” is no start_s"),
        ("start_s,end_s,position\n1,2,flying\n", "Line 2: .*unknown position “flying”"),
        ("start_s,end_s,position\n5,2,mount\n", "Line 2: .*the end must come after"),
        ("start_s,end_s,position\n,2,mount\n", "Line 2: start_s is empty"),
        ('start_s,end_s,position\n1,2,"mount\n', "not CSV"),
        ("", "start_s, end_s, position is missing"),
    ],
)
def test_a_broken_csv_is_refused_with_its_line(written, complaint):
    with pytest.raises(MatlineError, match=complaint):
        segments_from_csv(written)


@pytest.fixture
def library(tmp_path: Path) -> Library:
    return Library(tmp_path / "library")


def bout_in(library: Library) -> str:
    times = np.arange(0, 30, 0.2)
    table = pd.DataFrame({"standing": 1.0}, index=times)
    bout = library.add_bout(Path("final: “A/B” =1.mp4"), 30.0).id
    points = np.zeros((len(times), 2, 17, 3), np.float32)
    library.save_reading(bout, times, points, table, table, BOUT)
    return bout


def exported(library: Library, tmp_path: Path, ending: str) -> tuple[str, Path]:
    bout = bout_in(library)
    paths = export_bout(library, bout, tmp_path, ["csv", "vtt", "json"])
    return bout, next(path for path in paths if path.name.endswith(ending))


@pytest.mark.parametrize("ending", [".segments.csv", ".moments.csv", ".vtt", ".json"])
def test_an_unedited_file_changes_nothing(library, tmp_path, ending):
    bout, path = exported(library, tmp_path, ending)
    assert import_file(library, path) == []
    assert library.revision(bout) == 0


def edit(path: Path, old: str, new: str) -> None:
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8", newline="")


def test_a_position_edited_in_a_spreadsheet_is_one_correction(library, tmp_path):
    bout, path = exported(library, tmp_path, ".segments.csv")
    edit(path, "closed_guard/high", "half_guard")
    assert [c.action for c in import_file(library, path)] == ["relabel"]
    changed = library.timeline(bout)
    assert (changed.segments[1].position, changed.segments[1].state) == ("half_guard", "corrected")
    assert (changed.segments[0], changed.moments) == (BOUT.segments[0], BOUT.moments)
    library.undo(bout)
    assert library.timeline(bout) == BOUT


def test_a_border_edited_in_webvtt_leaves_the_other_borders_to_the_digit(library, tmp_path):
    bout, path = exported(library, tmp_path, ".vtt")
    edit(path, "00:00:10.040", "00:00:11.000")
    import_file(library, path)
    after = library.timeline(bout).segments
    assert [(s.start_s, s.end_s, s.id) for s in after] == [
        (0, 11.0, "s1"), (11.0, 20.1234567, "s2"), (20.1234567, 30, "s3"),
    ]  # fmt: skip
    assert [s.state for s in after] == ["corrected", "corrected", "proposed"]


def test_accepting_and_noting_in_webvtt(library, tmp_path):
    bout, path = exported(library, tmp_path, ".vtt")
    edit(path, "standing, proposed", "Standing, accepted\ngrips: collar & sleeve")
    edit(path, "moment: sweep by B", "moment: sweep attempt by A")
    assert [c.action for c in import_file(library, path)] == ["accept", "note", "edit_moment"]
    after = library.timeline(bout)
    assert (after.segments[0].state, after.segments[0].note) == (
        "accepted", "grips: collar & sleeve",
    )  # fmt: skip
    assert (after.moments[0].kind, after.moments[0].athlete) == ("sweep_attempt", "A")
    assert after.moments[0].evidence == {"held_s": 3.2}


def test_lines_removed_and_added_in_a_spreadsheet(library, tmp_path):
    bout, path = exported(library, tmp_path, ".segments.csv")
    lines = path.read_text().splitlines()
    path.write_text("\n".join([lines[0], lines[1], "12,15,mount,B,,,,"]) + "\n")
    import_file(library, path)
    assert [(s.start_s, s.end_s, s.position) for s in library.timeline(bout).segments] == [
        (0, 10.04, "standing"), (12, 15, "mount"),
    ]  # fmt: skip


def test_what_does_not_fit_changes_nothing_at_all(library, tmp_path):
    bout, path = exported(library, tmp_path, ".segments.csv")
    edit(path, "closed_guard/high", "half_guard")
    edit(path, "standing,,", "standing,A,")  # nobody is on top while standing
    with pytest.raises(MatlineError, match="nobody is on top"):
        import_file(library, path)
    assert library.revision(bout) == 0


def test_a_file_made_on_an_older_timeline_still_imports_over_corrections(library, tmp_path):
    bout, path = exported(library, tmp_path, ".segments.csv")
    library.append(bout, Correction("note", {"segment": "s1", "text": "new"}))
    edit(path, "closed_guard/high", "half_guard")
    import_file(library, path)
    assert library.timeline(bout).segments[1].position == "half_guard"


@pytest.mark.parametrize(
    ("name", "content", "complaint"),
    [
        ("x.vtt", b"\xff\xfe\x00", "isn't UTF-8"),
        ("x.vtt", b"Hello", "starts with WEBVTT"),
        ("x.vtt", b"WEBVTT\n\n1\n00:01 --> 00:02\nmount", "no times"),
        ("x.vtt", b"WEBVTT\n\n00:01.000 --> 00:02.000\nmount, C on top", "Line 3: “C on top”"),
        ("x.vtt", b"WEBVTT\n\n00:01.000 --> 00:02.000\nmoment: flight by A", "unknown kind"),
        ("x.json", b"[" * 100_000, "isn't JSON"),
        ("x.json", b"{}", "neither segments nor moments"),
        ("x.json", b'{"segments": [{"start_s": 1}]}', "Segment 1"),
        (
            "x.json",
            b'{"segments": [{"start_s": "1", "end_s": 2, "position": "mount"}]}',
            "Segment 1",
        ),
        ("x.txt", b"", "must end in"),
    ],
)
def test_a_broken_file_is_refused_with_its_name(library, tmp_path, name, content, complaint):
    bout = bout_in(library)
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(MatlineError, match=complaint) as error:
        import_file(library, path, bout)
    assert "x." in str(error.value)
    assert library.timeline(bout) == BOUT
