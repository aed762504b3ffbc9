"""A file with fewer columns than ours says only what it says."""

import csv
from pathlib import Path

import pytest

from pipeline.library import Library
from pipeline.outputs import import_file, moments_to_csv, segments_to_csv
from pipeline.timeline import Correction
from tests.library.test_library import accept, save


@pytest.fixture
def library(tmp_path: Path) -> Library:
    return Library(tmp_path / "library")


def without(text: str, *columns: str) -> list[dict[str, str]]:
    rows = list(csv.DictReader(text.splitlines()))
    return [{n: v for n, v in row.items() if n not in columns} for row in rows]


def write(path: Path, rows: list[dict[str, str]]) -> Path:
    with path.open("w", newline="") as file:
        writer = csv.DictWriter(file, rows[0].keys())
        writer.writeheader()
        writer.writerows(rows)
    return path


DROPPED = ("id", "state", "note", "confidence")


def test_four_columns_without_ids_change_only_what_was_edited(library, tmp_path):
    bout = save(library)
    library.append(bout, accept("s1"))
    library.append(bout, Correction("note", {"segment": "s2", "text": "knee first"}))
    before = library.timeline(bout)
    rows = without(segments_to_csv(before.segments), *DROPPED)
    path = tmp_path / f"x-{bout}.segments.csv"
    assert import_file(library, write(path, rows)) == []
    rows[2] |= {"position": "turtle", "top": "A"}
    (made,) = import_file(library, write(path, rows))
    assert made.action == "relabel"
    after = library.timeline(bout)
    assert [s.id for s in after.segments] == [s.id for s in before.segments]
    assert after.segments[1].note == "knee first"
    assert [s for i, s in enumerate(after.segments) if i != 2] == [
        s for i, s in enumerate(before.segments) if i != 2
    ]


def test_moments_without_ids_and_notes_keep_theirs(library, tmp_path):
    bout = save(library)
    library.append(bout, Correction("add_moment", {"kind": "rise", "peak_s": 5.0, "note": "hips"}))
    rows = without(moments_to_csv(library.timeline(bout).moments), *DROPPED, "evidence")
    path = tmp_path / f"x-{bout}.moments.csv"
    assert import_file(library, write(path, rows)) == []
