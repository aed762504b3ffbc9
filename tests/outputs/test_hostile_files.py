"""What a file may hold that nobody meant: each is a sentence, and nothing of the bout changes."""

from __future__ import annotations

import csv
import json
import zipfile
from pathlib import Path

import opentimelineio
import pytest

from pipeline.errors import MatlineError
from pipeline.library import Library
from pipeline.outputs import import_file, moments_to_csv, segments_to_csv
from pipeline.outputs.files import to_json
from pipeline.outputs.text import unguarded
from pipeline.positions import PositionModel
from pipeline.timeline import Correction, Moment, Segment, Timeline, apply
from tests.library.test_library import save


@pytest.fixture
def library(tmp_path: Path) -> Library:
    return Library(tmp_path / "library")


SEGMENT = {"start_s": 1.0, "end_s": 2.0, "position": "mount", "top": "A", "note": "", "id": "n"}
MOMENT = {"start_s": 1.0, "peak_s": 1.5, "end_s": 2.0, "kind": "rise", "athlete": "A", "id": "m"}
HOSTILE = ("\ud800", 10**400, 10**13, float("nan"), float("inf"), [], {}, True, None)


@pytest.mark.parametrize("value", HOSTILE, ids=lambda v: type(v).__name__)
@pytest.mark.parametrize("kind", ["segments", "moments"])
def test_no_value_in_any_field_of_json_is_a_crash_or_kept(library, tmp_path, kind, value):
    bout = save(library)
    before = library.timeline(bout)
    row = SEGMENT if kind == "segments" else MOMENT | {"strength": 1.0, "evidence": {"x": 1.0}}
    for name in row:
        path = tmp_path / f"x-{bout}.json"
        path.write_text(json.dumps({kind: [row | {name: value}]}))
        if (name in ("top", "athlete") and value is None) or (name == "evidence" and value == {}):
            continue
        with pytest.raises(MatlineError) as refused:
            import_file(library, path)
        assert len(str(refused.value)) < 400
        assert library.timeline(bout) == before


@pytest.mark.parametrize(
    "text",
    [
        '{"segments": [{"start_s": 1e400, "end_s": 2, "position": "mount"}]}',
        '{"segments": [{"start_s": 1, "end_s": %s, "position": "mount"}]}' % ("9" * 5000),
        '{"segments": [{"start_s": 1, "end_s": 2, "position": "mount", "note": "\\ud800"}]}',
        '{"moments": [{"start_s": 1, "peak_s": 1, "end_s": 1, "kind": "rise", "id": {"a": 1}}]}',
        "[" * 100_000,
    ],
    ids=["1e400", "5000 digits", "half a character", "an id of parts", "deep"],
)
def test_json_that_no_program_writes_is_a_sentence(library, tmp_path, text):
    bout = save(library)
    path = tmp_path / f"x-{bout}.json"
    path.write_text(text)
    with pytest.raises(MatlineError, match="x-"):
        import_file(library, path)
    assert library.revision(bout) == 0


@pytest.mark.parametrize("time", ["1e400", "inf", "nan", "9" * 400 + ":00:01", "9" * 5000])
@pytest.mark.parametrize("suffix", ["segments.csv", "moments.csv", "vtt"])
def test_times_that_are_no_times_are_a_sentence(library, tmp_path, suffix, time):
    bout = save(library)
    text = {
        "segments.csv": f"start_s,end_s,position\n1,{time},mount\n",
        "moments.csv": f"start_s,peak_s,end_s,kind,evidence\n1,1,1,rise,held_s={time}\n",
        "vtt": f"WEBVTT\n\n00:01.000 --> {time}\nmount, A on top\n",
    }[suffix]
    path = tmp_path / f"x-{bout}.{suffix}"
    path.write_text(text)
    with pytest.raises(MatlineError, match="x-"):
        import_file(library, path)
    assert library.revision(bout) == 0


@pytest.mark.parametrize("value", ["five", [], None, 1e300])
def test_otio_with_strange_metadata_is_a_sentence(library, tmp_path, value):
    otio = opentimelineio
    bout = save(library)
    time = otio.opentime.RationalTime
    track = otio.schema.Track(name="positions")
    where = otio.opentime.TimeRange(time(0, 1), time(1, 1))
    track.markers.append(
        otio.schema.Marker(
            marked_range=where,
            metadata={"matline": {"kind": "rise", "peak_after_s": value, "strength": value}},
        )
    )
    film = otio.schema.Timeline()
    film.tracks.append(track)
    path = tmp_path / f"x-{bout}.otio"
    path.write_text(otio.adapters.write_to_string(film, "otio_json"))
    with pytest.raises(MatlineError, match="x-"):
        import_file(library, path)


@pytest.mark.parametrize("note", ["x;=2+5", "x\t=2+5", "x|=2+5", 'say "go";=1', "x\n=2+5"])
def test_no_note_becomes_a_cell_that_a_spreadsheet_runs(note):
    segments = segments_to_csv([Segment(0, 1, "mount", "A", note=note)])
    moments = moments_to_csv([Moment(0, 0, 0, "rise", "A", note=note)])
    for text in (segments, moments):
        assert [
            unguarded(row["note"]) for row in csv.DictReader(text.splitlines(keepends=True))
        ] == [note]
        for mark in ";\t|":
            cells = [c for row in csv.reader(text.splitlines(True), delimiter=mark) for c in row]
            assert not [cell for cell in cells if cell.startswith(("=", "+", "-", "@"))]


def test_adding_to_thousands_of_segments_looks_only_at_those_it_covers():
    before = Timeline(tuple(Segment(i, i + 1, "mount", "A", id=f"s{i}") for i in range(3000)))
    arguments = {"start_s": 10.5, "end_s": 11.5, "position": "standing", "id": "n", "rest_id": "r"}
    after = apply(before, Correction("add_segment", arguments))
    same = sum(one is two for one, two in zip(before.segments[:10], after.segments, strict=False))
    assert same == 10
    assert all(a is b for a, b in zip(before.segments[12:], after.segments[13:], strict=True))
    assert [(s.start_s, s.end_s) for s in after.segments[9:14]] == [
        (9, 10), (10, 10.5), (10.5, 11.5), (11.5, 12), (12, 13),
    ]  # fmt: skip


def test_a_model_file_that_unpacks_to_all_memory_is_refused(tmp_path):
    path = tmp_path / "positions.skops"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("schema.json", b" " * (70 << 20))
    assert path.stat().st_size < 1 << 20
    with pytest.raises(MatlineError, match="larger than any position model"):
        PositionModel.load(path)


def test_what_was_exported_can_still_be_imported(library, tmp_path):
    bout = save(library)
    path = tmp_path / f"x-{bout}.json"
    path.write_text(to_json(library.bout(bout), library.timeline(bout)))
    assert import_file(library, path) == []
