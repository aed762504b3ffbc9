"""A library that was damaged, emptied, filled or made read-only loses nothing, and says so."""

from __future__ import annotations

import os
import random
import shutil
import sqlite3
from contextlib import closing, suppress
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from pipeline.errors import MatlineError
from pipeline.library import Damaged, Library, restore
from pipeline.library.tables import keypoint_table, write_table
from pipeline.timeline import Correction
from tests.library.test_library import TIMES, accept, keypoints, save


@pytest.fixture
def library(tmp_path: Path) -> Library:
    return Library(tmp_path / "library")


def database(library: Library) -> Path:
    return library.root / "library.sqlite3"


def overwrite(path: Path, start: int, data: bytes) -> None:
    with path.open("r+b") as file:
        file.seek(start)
        file.write(data)


def use(root: Path) -> None:
    """Do with every bout what commands and page do."""
    library = Library(root)
    for bout in library.bouts():
        library.timeline(bout.id)
        library.journal(bout.id)
        library.proposal(bout.id)
        library.keypoints(bout.id)
        library.scores(bout.id)
        library.cameras(bout.id)
        library.mat(bout.content_key)
        library.update_bout(bout.id, event="Harbour Open")
        library.append(bout.id, Correction("note", {"segment": "s2", "text": "again"}))
    library.problems()


@pytest.mark.parametrize("seed", range(12))
def test_bytes_overwritten_anywhere_in_the_database_are_a_sentence(tmp_path, seed, template):
    root = tmp_path / "library"
    shutil.copytree(template, root)
    dice = random.Random(seed)
    path = root / "library.sqlite3"
    for _ in range(dice.choice((1, 3, 30))):
        data = dice.choice((dice.randbytes(40), bytes(200), b"\xff" * 16, b"\x00nul"))
        overwrite(path, dice.randrange(path.stat().st_size), data)
    with suppress(MatlineError):
        use(root)
    restored = restore(root)
    assert restored.aside is not None
    library = Library(root)
    library.check_database()
    bout = library.bouts()[0]
    assert library.journal(bout.id)[0].correction == accept("s1")
    assert bout.names["A"] == "Ada"


@pytest.fixture(scope="session")
def template(tmp_path_factory) -> Path:
    """A library with a corrected bout, closed."""
    root = tmp_path_factory.mktemp("template") / "library"
    library = Library(root)
    for _ in range(3):
        bout = save(library)
        library.append(bout, accept("s1"))
        library.update_bout(bout, names={"A": "Ada"})
    with closing(sqlite3.connect(root / "library.sqlite3")) as db:
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return root


def test_after_damage_every_correction_is_back(library):
    first = save(library)
    for id in ("s1", "s2", "s3"):
        library.append(first, accept(id))
    library.undo(first)
    second = save(library)
    library.append(second, Correction("note", {"segment": "s1", "text": "knee first"}))
    library.update_bout(second, title="Semifinal", names={"B": "Bo"})
    before = {bout.id: (bout, library.timeline(bout.id)) for bout in library.bouts()}
    overwrite(database(library), 0, b"\x00" * 4096)
    with pytest.raises(Damaged, match="matline check"):
        Library(library.root)
    restored = restore(library.root)
    assert restored.changes >= 2
    again = Library(library.root)
    assert {bout.id: (bout, again.timeline(bout.id)) for bout in again.bouts()} == before
    assert again.redo(first) == 5


def test_an_emptied_database_beside_readings_is_not_taken_for_a_new_library(library):
    bout = save(library)
    library.append(bout, accept("s1"))
    database(library).write_bytes(b"")
    for path in library.root.glob("library.sqlite3-*"):
        path.unlink()
    with pytest.raises(Damaged, match="empty, though"):
        Library(library.root)
    database(library).unlink()
    with pytest.raises(Damaged, match="empty, though"):
        Library(library.root)
    restore(library.root)
    assert Library(library.root).bout(bout).counts["accepted"] == 1


def test_a_damaged_newest_copy_is_passed_over(library):
    bout = save(library)
    library.append(bout, accept("s1"))
    library._backups.copy()
    library.append(bout, accept("s2"))
    overwrite(library._backups.copies()[-1], 0, b"\x00" * 4096)
    restore(library.root)
    assert Library(library.root).bout(bout).counts["accepted"] == 2


def test_a_torn_last_line_of_the_log_costs_only_itself(library):
    bout = save(library)
    library.append(bout, accept("s1"))
    library.append(bout, accept("s2"))
    log = max(library.root.glob("backups/*.jsonl"))
    log.write_bytes(log.read_bytes()[:-20])
    restore(library.root)
    assert Library(library.root).bout(bout).counts["accepted"] == 1


def test_without_a_copy_the_damaged_file_stays_where_it_is(library):
    save(library)
    shutil.rmtree(library.root / "backups")
    before = b"\x00" * 100
    database(library).write_bytes(before)
    with pytest.raises(MatlineError, match="no sound copy"):
        restore(library.root)
    assert database(library).read_bytes() == before


def test_copies_do_not_grow_in_number_and_the_removed_are_in_none(library):
    for _ in range(6):
        bout = save(library)
    assert len(library._backups.copies()) == 2
    library.update_bout(bout, names={"A": "Somebody"})
    library.remove_bout(bout)
    held = b"".join(path.read_bytes() for path in (library.root / "backups").iterdir())
    assert b"Somebody" not in held
    assert bout.encode() not in held


@pytest.mark.parametrize(("version", "said"), [(0, "version is 0"), (-3, "-3"), (99, "newer")])
def test_a_database_of_a_strange_version_is_left_alone(library, version, said):
    bout = save(library)
    with closing(sqlite3.connect(database(library))) as db:
        db.execute(f"PRAGMA user_version = {version}")
    with pytest.raises(MatlineError, match=said):
        Library(library.root)
    with closing(sqlite3.connect(database(library))) as db:
        assert db.execute("SELECT id FROM bout").fetchone() == (bout,)


@pytest.mark.parametrize(
    "spoil",
    [
        lambda path: path.write_bytes(b"PAR1" + os.urandom(3000) + b"PAR1"),
        lambda path: path.write_bytes(path.read_bytes()[:-9]),
        lambda path: write_table(pd.DataFrame({"colour": ["blue"]}, index=[0.0]), path),
        lambda path: write_table(pd.DataFrame({"x": [1.0]}, index=[0.0]), path),
        lambda path: pd.DataFrame({"a": [1.0]}).to_parquet(path),
        lambda path: write_table(keypoint_table(TIMES, keypoints())[::-1], path),
        lambda path: (path.unlink(), path.mkdir()),
    ],
    ids=["noise", "cut", "text", "other columns", "no times", "backwards", "a folder"],
)
def test_a_damaged_or_foreign_table_is_named(library, spoil):
    bout = save(library)
    path = next(library.root.glob("readings/*/keypoints.parquet"))
    spoil(path)
    with pytest.raises(MatlineError, match=r"keypoints\.parquet"):
        library.keypoints(bout)
    (said,) = [line for line in library.problems() if "footage" not in line.split(".")[0]]
    assert "keypoints.parquet" in said


def test_random_damage_of_a_table_is_never_a_crash(library):
    bout = save(library)
    path = next(library.root.glob("readings/*/keypoints.parquet"))
    whole, dice = path.read_bytes(), random.Random(5)
    for _ in range(150):
        data = bytearray(whole)
        for _ in range(dice.choice((1, 4, 40))):
            data[dice.randrange(len(data))] = dice.randrange(256)
        path.write_bytes(data)
        with suppress(MatlineError):
            library.keypoints(bout)


@pytest.mark.parametrize("text", ["", "{}x", "[]", '{"segments": 5}', '{"segments": [{"x": 1}]}'])
def test_a_damaged_proposal_is_named(library, text):
    bout = save(library)
    with closing(sqlite3.connect(database(library))) as db:
        db.execute("UPDATE reading SET proposal = ?", (text,))
        db.commit()
    with pytest.raises(Damaged, match="proposal"):
        Library(library.root).timeline(bout)


def test_a_full_disk_is_a_sentence_and_keeps_what_there_was(library, monkeypatch):
    bout = save(library)
    library.append(bout, accept("s1"))
    usual = library._database._connect

    def crowded() -> sqlite3.Connection:
        db = usual()
        pages = db.execute("PRAGMA page_count").fetchone()[0]
        db.execute(f"PRAGMA max_page_count = {pages}")
        return db

    monkeypatch.setattr(library._database, "_connect", crowded)
    with pytest.raises(MatlineError, match="full"):
        library.append(bout, Correction("note", {"segment": "s2", "text": "x" * 100_000}))
    assert Library(library.root).revision(bout) == 1


def test_times_that_are_no_numbers_are_not_kept(library):
    bout = save(library)
    with pytest.raises(MatlineError, match="character"):
        library.update_bout(bout, title="a\ud800b")
    assert library.bout(bout).title == "Final"
    assert np.isfinite(library.keypoints(bout)[0]).all()
