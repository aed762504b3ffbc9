"""What can't be read is named, and shortens or stops nothing else."""

import os
from pathlib import Path

import pytest
from typer.testing import CliRunner

from pipeline.cli import app
from pipeline.footage import make_proxy
from pipeline.footage.proxy import _whole_or_nothing
from pipeline.library import Library
from pipeline.overnight import last_summary
from pipeline.overnight.found import find_files
from tests.overnight.figures import make_clip
from tests.overnight.spoilt import make_films
from tests.overnight.test_night import READER, became, plan_and_run


@pytest.fixture
def library(tmp_path) -> Library:
    return Library(tmp_path / "library")


@pytest.fixture
def film(tmp_path) -> Path:
    return make_clip(tmp_path / "film.mp4", 3)


@pytest.mark.parametrize(
    ("asked", "why"),
    [("empty folder", "no video in this folder"), ("day1_*.mp4", "nothing matches"), ("", "empty")],
)
def test_what_holds_no_video_is_named_and_the_rest_is_read(
    library, film, tmp_path, monkeypatch, asked, why
):
    (tmp_path / "empty folder").mkdir()
    monkeypatch.chdir(tmp_path)
    _, summary = plan_and_run(library, asked, film)
    assert became(summary) == ["failed", "read"]
    assert why in summary.files[0].why


def test_the_command_names_what_it_left_out_and_ends_with_1(library, film, tmp_path):
    common = ["--backend", READER, "--workers", "1", "--library", str(library.root)]
    asked = ["read", str(film), str(tmp_path / "*.nothing"), *common]
    planned = CliRunner().invoke(app, [*asked, "--plan"])
    assert planned.exit_code == 1
    assert "1 file," in planned.output
    assert "*.nothing: nothing matches this pattern" in planned.output
    done = CliRunner().invoke(app, asked)
    assert done.exit_code == 1
    assert "2 files: 1 read, 1 failed." in done.output
    assert len(library.bouts()) == 1


def test_a_folder_that_cannot_be_opened_is_named_and_its_neighbours_are_found(
    tmp_path, monkeypatch
):
    for name in ("a/1.mp4", "closed/2.mp4", "z/3.mp4"):
        (tmp_path / name).parent.mkdir()
        (tmp_path / name).touch()
    scandir = os.scandir

    def guarded(path):  # permissions don't stop the superuser, as whom tests may run
        if Path(path).name == "closed":
            raise PermissionError(13, "Permission denied", str(path))
        return scandir(path)

    monkeypatch.setattr(os, "scandir", guarded)
    found = find_files(tmp_path)
    assert [one.path.name for one in found] == ["1.mp4", "3.mp4", "closed"]
    assert found[2].problem.endswith("closed: this folder can't be opened (Permission denied).")


def test_every_kind_of_film_in_a_folder_is_taken(tmp_path):
    films = make_films(tmp_path, 0.5)
    assert [one.path for one in find_files(tmp_path)] == sorted(films)


def test_an_animated_picture_in_a_folder_is_read(library, tmp_path):
    (tmp_path / "films").mkdir()
    (gif,) = (f for f in make_films(tmp_path, 3) if f.suffix == ".gif")
    gif.rename(tmp_path / "films" / gif.name)
    _, summary = plan_and_run(library, tmp_path / "films", copies=False)
    assert became(summary) == ["read"]


def test_the_morning_list_survives_a_night_that_reads_nothing(library, film, tmp_path):
    other = make_clip(tmp_path / "other.mp4", 4)
    _, first = plan_and_run(library, film, other)
    useful = last_summary(library.root)
    plan_and_run(library, film, other)
    assert last_summary(library.root) == useful
    (tmp_path / "bad.mp4").write_text("no video")
    plan_and_run(library, film, tmp_path / "bad.mp4")  # what failed is added
    assert became(last_summary(library.root).summary) == ["read", "failed", "read"]
    kept = last_summary(library.root).summary.files
    assert [kept[0], kept[2]] == list(first.files)


def test_what_was_read_before_keeps_its_facts_beside_what_is_new(library, film, tmp_path):
    _, first = plan_and_run(library, film)
    plan_and_run(library, film, make_clip(tmp_path / "new.mp4", 4))
    kept = last_summary(library.root).summary
    assert became(kept) == ["read", "read"]
    assert kept.files[0] == first.files[0]


def test_copies_and_pieces_that_a_kill_left_unfinished_are_removed(library, film):
    left = [library.root / "copies" / ".key-x.part", library.root / "chunks" / "key" / ".x.part"]
    for part in left:
        part.parent.mkdir(parents=True, exist_ok=True)
        part.write_bytes(bytes(1000))
    with _whole_or_nothing(library.root / "copies" / "made-by-the-page.mp4") as making:
        plan_and_run(library, film)
        assert [part.exists() for part in left] == [False, False]
        assert making.exists()


def test_a_copy_is_made_whole_in_spite_of_its_lock(film, tmp_path):
    assert make_proxy(film, tmp_path / "copy.mp4").stat().st_size > 1000
    assert list(tmp_path.glob(".*.part")) == []
