"""Files for other programs, judged by those programs' own libraries."""

import json
import sys
from itertools import pairwise
from pathlib import Path

import numpy as np
import opentimelineio as otio
import pandas as pd
import pytest
from frictionless import Package

from pipeline.errors import MatlineError
from pipeline.library import Library
from pipeline.outputs import export_bout, import_file
from pipeline.outputs.opentimeline import timeline_from_otio, timeline_to_otio
from pipeline.timeline import Moment, Segment, State, Timeline

SAMPLES = 150
TIMELINE = Timeline(
    (
        Segment(1.234567, 10.1, "half_guard/knee shield", "B", 0.81, State.PROPOSED, id="s1"),
        Segment(
            10.1, 20.0, "side_control", "A", 1.0, State.CORRECTED, "=note, with “quotes”", "s2"
        ),
        Segment(25.5, 30.25, "standing", None, 0.5, State.ACCEPTED, id="s3"),
    ),
    (
        Moment(8.0, 8.7, 9.1, "lift", "A", 0.41, 0.7, State.PROPOSED, "", {"gain": 0.41}, "m1"),
        Moment(9.0, 10.1, 13.1, "sweep", "A", 3.0, id="m2"),
    ),
)


@pytest.fixture
def library(tmp_path):
    library = Library(tmp_path / "library")
    bout = library.add_bout(tmp_path / "bout of two.mp4", 60.0, title="Kim – Noor")
    times = np.arange(SAMPLES) / 5
    index = pd.Index(times, name="time_s")
    keypoints = np.zeros((SAMPLES, 2, 17, 3), np.float32)
    keypoints[120:, 1] = np.nan
    # Whole numbers for long, then fractions and holes, as some columns of real footage have them.
    seen = np.where(np.arange(SAMPLES) < 130, 1.0, 0.94)
    seen[140:] = np.nan
    library.save_reading(
        bout.id,
        times,
        keypoints,
        pd.DataFrame({"a_hip_height": times, "a_seen": seen}, index=index),
        pd.DataFrame({"mount": np.ones(SAMPLES)}, index=index),
        TIMELINE,
        reader="invented",
    )
    return library


def export(library, tmp_path, form):
    return export_bout(library, library.bouts()[0].id, tmp_path / "out", [form])


def test_the_package_is_valid_for_frictionless(library, tmp_path):
    descriptor = export(library, tmp_path, "package")[-1]
    report = Package(str(descriptor)).validate()
    assert report.valid, report.flatten(["rowNumber", "fieldName", "message"])
    assert len(report.tasks) == 5


def test_frictionless_sees_a_damaged_table(library, tmp_path):
    *files, descriptor = export(library, tmp_path, "package")
    segments = files[0]
    segments.write_text(segments.read_text().replace("corrected", "perhaps"))
    assert not Package(str(descriptor)).validate().valid


def test_frictionless_reads_the_values_that_were_written(library, tmp_path):
    package = Package(str(export(library, tmp_path, "package")[-1]))
    rows = package.get_resource("segments").read_rows()
    assert [(float(r["start_s"]), r["position"], r["top"]) for r in rows] == [
        (s.start_s, s.position, s.top) for s in TIMELINE.segments
    ]
    assert package.get_resource("moments").read_rows()[1]["kind"] == "sweep"


def test_measurements_come_back_from_parquet(library, tmp_path):
    paths = {p.name.split(".")[-2]: p for p in export(library, tmp_path, "package")[:-1]}
    features = pd.read_parquet(paths["features"])
    pd.testing.assert_frame_equal(features, library.features(library.bouts()[0].id))
    assert pd.read_parquet(paths["keypoints"]).shape == (SAMPLES, 102)
    assert pd.read_parquet(paths["probabilities"])["mount"].eq(1).all()


def test_an_edited_table_of_the_package_reads_back(library, tmp_path):
    segments = export(library, tmp_path, "package")[0]
    segments.write_text(segments.read_text().replace("half_guard/knee shield", "closed_guard"))
    bout = library.bouts()[0].id
    assert [c.action for c in import_file(library, segments)] == ["relabel"]
    assert library.timeline(bout).segments[0].position == "closed_guard"


def test_otio_holds_everything(library):
    assert timeline_from_otio(timeline_to_otio(library.bouts()[0], TIMELINE)) == TIMELINE


def test_otio_keeps_borders_together_wherever_they_lie(library):
    # Pictures of 29.97 and 12 a second: borders are no round number of milliseconds.
    for step in (1001 / 30_000, 1 / 12, 0.123456789):
        borders = [step * n for n in (0, 53, 112, 171, 219, 315, 372)]
        segments = tuple(
            Segment(low, high, "mount", "A", 1.0, State.CORRECTED, id=f"s{n}")
            for n, (low, high) in enumerate(pairwise(borders))
        )
        back = timeline_from_otio(timeline_to_otio(library.bouts()[0], Timeline(segments)))
        for one, other in zip(segments, back.segments, strict=True):
            assert (other.start_s, other.end_s) == (round(one.start_s, 6), round(one.end_s, 6))


def test_otio_library_reads_clips_gaps_and_markers(library, tmp_path):
    film = otio.adapters.read_from_file(str(export(library, tmp_path, "otio")[0]))
    track = film.tracks[0]
    assert [type(item).__name__ for item in track] == ["Gap", "Clip", "Clip", "Gap", "Clip"]
    where = track.range_of_child(track[2])
    assert where.start_time.to_seconds() == pytest.approx(10.1)
    assert track[2].media_reference.target_url.startswith("file:///")
    assert "bout%20of%20two.mp4" in track[2].media_reference.target_url
    assert [m.marked_range.start_time.to_seconds() for m in track.markers] == [8.0, 9.0]


def test_otio_survives_the_library_round_trip_and_reads_back_as_nothing_new(library, tmp_path):
    path = export(library, tmp_path, "otio")[0]
    otio.adapters.write_to_file(otio.adapters.read_from_file(str(path)), str(path))
    assert import_file(library, path) == []


def test_a_clip_trimmed_elsewhere_moves_the_border(library, tmp_path):
    path = export(library, tmp_path, "otio")[0]
    film = otio.adapters.read_from_file(str(path))
    clip = film.tracks[0][4]
    clip.source_range = otio.opentime.TimeRange(
        otio.opentime.RationalTime(26 * 24, 24), otio.opentime.RationalTime(3 * 24, 24)
    )
    otio.adapters.write_to_file(film, str(path))
    import_file(library, path)
    last = library.timeline(library.bouts()[0].id).segments[-1]
    assert (last.start_s, last.end_s, last.state) == (26.0, 29.0, State.CORRECTED)


def test_a_clip_that_is_no_position_is_named(library, tmp_path):
    path = export(library, tmp_path, "otio")[0]
    data = json.loads(path.read_text())
    data["tracks"]["children"][0]["children"][1] |= {"metadata": {}, "name": "holiday"}
    path.write_text(json.dumps(data))
    with pytest.raises(MatlineError, match="holiday"):
        import_file(library, path)


@pytest.mark.parametrize("text", ["{}", "[]", '{"OTIO_SCHEMA": "Clip.1"}', "not json", ""])
def test_what_is_no_otio_is_refused_in_a_sentence(text, library, tmp_path):
    path = tmp_path / f"x-{library.bouts()[0].id}.otio"
    path.write_text(text)
    with pytest.raises(MatlineError, match="OpenTimelineIO"):
        import_file(library, path)


def test_without_the_optional_package_it_says_what_to_install(library, monkeypatch):
    monkeypatch.setitem(sys.modules, "opentimelineio", None)
    with pytest.raises(MatlineError, match=r"matline\[otio\]"):
        timeline_to_otio(library.bouts()[0], TIMELINE)


def test_an_unknown_format_is_answered_with_those_there_are(library, tmp_path):
    with pytest.raises(MatlineError, match="otio, package"):
        export_bout(library, library.bouts()[0].id, Path("out"), ["xlsx"])
