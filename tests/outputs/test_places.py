"""Where results can't be written is said before any is, in a sentence."""

from __future__ import annotations

import builtins

import pytest

from pipeline.errors import MatlineError
from pipeline.library import written_whole
from tests.cli.test_commands import READER, bout, matline, refused
from tests.overnight.figures import make_clip

__all__ = ["bout", "matline"]


@pytest.mark.parametrize(
    "command",
    [
        ["export", "--to", "taken"],
        ["export", "--to", "taken/below", "--format", "package"],
        ["report", "--proposals", "--to", "taken/report.html"],
        ["report", "--proposals", "--to", "taken/report.pdf"],
        ["report", "--proposals", "--tables", "taken"],
        ["clips", "--proposals", "--position", "mount", "--to", "taken"],
        ["clips", "--proposals", "--position", "mount", "--to", "taken/reel.mp4"],
        ["keypoints", "clip.mp4", "--backend", READER, "--to", "taken/keypoints.json"],
        ["learn", "--suspects", "taken/suspects.csv"],
    ],
    ids=lambda command: " ".join(command[:1] + command[-1:]),
)
def test_a_file_where_a_folder_is_meant_is_a_sentence(matline, bout, tmp_path, command):
    (tmp_path / "taken").write_text("notes of mine")
    make_clip(tmp_path / "clip.mp4", 1)
    make_clip(tmp_path / "round one.mp4", 20)
    before = sorted(tmp_path.iterdir())
    said = refused(matline(*command))
    assert "taken is a file, not a folder" in said
    assert (tmp_path / "taken").read_text() == "notes of mine"
    assert sorted(tmp_path.iterdir()) == before


@pytest.mark.parametrize(
    "command",
    [
        ["report", "--proposals", "--to", "place.html"],
        ["keypoints", "clip.mp4", "--backend", READER, "--to", "place.html"],
    ],
    ids=lambda command: command[0],
)
def test_a_folder_where_a_file_is_meant_is_a_sentence(matline, bout, tmp_path, command):
    (tmp_path / "place.html").mkdir()
    make_clip(tmp_path / "clip.mp4", 1)
    assert "place.html is a folder" in refused(matline(*command))
    assert not list((tmp_path / "place.html").iterdir())


@pytest.mark.parametrize("name", ["report.docx", "report", "report.csv"])
def test_a_report_is_not_written_as_what_its_name_does_not_say(matline, bout, tmp_path, name):
    assert ".html or .pdf" in refused(matline("report", "--proposals", "--to", name))
    assert not (tmp_path / name).exists()


def test_a_format_that_cannot_be_written_leaves_no_half_of_an_export(
    matline, bout, tmp_path, monkeypatch
):
    usual = builtins.__import__

    def without(name, *rest):
        if name == "opentimelineio":
            raise ImportError(name)
        return usual(name, *rest)

    monkeypatch.setattr(builtins, "__import__", without)
    formats = [part for name in ("csv", "package", "otio") for part in ("--format", name)]
    said = refused(matline("export", "--to", "out", *formats))
    assert "pip install 'matline[otio]'" in said
    assert not (tmp_path / "out").exists()


def test_a_write_that_failed_is_the_error_that_is_told(tmp_path):
    (tmp_path / "taken").touch()
    with pytest.raises(MatlineError, match="is a file"), written_whole(tmp_path / "taken" / "x"):
        pass
