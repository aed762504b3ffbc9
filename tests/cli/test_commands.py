"""The commands as a user types them: what they say, what they leave, how they end."""

import csv
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import pandas as pd
import pytest

from pipeline.cli import main
from pipeline.library import Library
from pipeline.timeline import Correction, Segment, Timeline
from tests.overnight.figures import make_clip, picture

READER = "tests.overnight.figures:FigureReader"


@dataclass
class Done:
    """How a command ended and what it said."""

    code: int
    out: str
    err: str


@pytest.fixture
def matline(tmp_path, monkeypatch, capsys) -> Callable[..., Done]:
    """Run commands in a folder of their own, with a library of their own."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("MATLINE_LIBRARY", str(tmp_path / "library"))

    def run(*arguments: object) -> Done:
        monkeypatch.setattr(sys, "argv", ["matline", *map(str, arguments)])
        capsys.readouterr()
        with pytest.raises(SystemExit) as ended:
            main()
        code = ended.value.code
        said = capsys.readouterr()
        return Done(code if isinstance(code, int) else 0, said.out, said.err)

    return run


def refused(done: Done, code: int = 1) -> str:
    """Check that a command ended with an error on standard error; return it."""
    assert done.code == code
    return done.err.strip()


@pytest.fixture
def bout(tmp_path):
    library = Library(tmp_path / "library")
    times = np.arange(0, 20, 0.2)
    table = pd.DataFrame({"standing": 1.0}, index=times)
    proposal = Timeline((Segment(0, 8, "standing"), Segment(8, 20, "mount", "A")))
    bout = library.add_bout(Path("round one.mp4"), 20.0).id
    library.save_reading(
        bout, times, np.zeros((100, 2, 17, 3), np.float32), table, table, proposal, reader="x"
    )
    return bout


def test_export_edit_import_is_a_round_trip_by_two_commands(matline, tmp_path, bout):
    exported = matline("export", bout, "--to", "out", "--format", "csv")
    assert exported.code == 0, exported.err
    path = tmp_path / exported.out.splitlines()[0]
    path.write_text(path.read_text().replace("mount", "side_control"))
    imported = matline("import", path)
    assert imported.out.strip().endswith("1 correction")
    assert "1 of 2 seen" in matline("bouts").out


def test_a_bout_is_removed_only_when_the_user_is_sure(matline, tmp_path, bout, monkeypatch):
    monkeypatch.setattr("typer.confirm", lambda question: False)
    matline("remove", bout)
    assert bout in matline("bouts").out
    done = matline("remove", "round one", "--yes")
    assert "is left as it is" in done.out
    assert "empty" in matline("bouts").err


def test_a_broken_file_is_refused_in_one_sentence_with_its_line(matline, tmp_path, bout):
    path = tmp_path / f"x-{bout}.segments.csv"
    path.write_text("start_s,end_s,position\n1,2,flying\n")
    said = refused(matline("import", path))
    assert "Line 2" in said
    assert "flying" in said
    assert "\n" not in said


def test_wrong_usage_ends_with_2_and_a_users_error_with_1(matline):
    refused(matline("export", "--colour", "blue"), code=2)
    refused(matline("read"), code=2)
    assert "No bout “x”" in refused(matline("export", "x"))


@pytest.mark.parametrize(
    ("arguments", "complaint"),
    [
        (["read", "gone.mp4"], "no such file"),
        (["read", "*.mkv"], "nothing matches"),
        (["read", "empty"], "no video in this folder"),
        (["read", "text.mp4"], "not a video"),
        (["read", "empty.mp4"], "empty"),
        (["read", "x.mp4", "--until", "25:99"], "no time of day"),
        (["read", "x.mp4", "--engine", "steam"], "no engine"),
        (["read", "x.mp4", "--backend", "steam"], "no reader"),
        (["read", "x.mp4", "--rate", "0"], "can't be read"),
        (["keypoints", "gone.jpg"], "gone.jpg"),
        (["keypoints", "x.jpg", "--pair-region", "1,2,3"], "four numbers"),
        (["keypoints", "x.jpg", "--pair-region", "5,0,1,9"], "right of x0"),
        (["keypoints", "x.jpg", "--pair-region", "gone.csv"], "gone.csv"),
        (["label", "gone.json"], "gone.json"),
        (["label", "text.mp4"], "isn't JSON"),
    ],
)
def test_what_cannot_be_done_is_said_in_a_sentence(matline, tmp_path, arguments, complaint):
    (tmp_path / "text.mp4").write_text("not a video at all")
    (tmp_path / "empty.mp4").touch()
    (tmp_path / "empty").mkdir()
    backend = [] if "--backend" in arguments or arguments[0] == "label" else ["--backend", READER]
    said = refused(matline(*arguments, *backend))
    assert said.startswith("matline: ")
    assert complaint in said
    assert "\n" not in said


def test_keypoints_of_pictures_and_regions_from_a_csv(matline, tmp_path):
    for name, time_s in (("a.png", 0.0), ("b.png", 2.0)):
        cv2.imwrite(str(tmp_path / name), picture(time_s)[..., ::-1])
    with (tmp_path / "regions.csv").open("w", newline="") as file:
        csv.writer(file).writerows(
            [("file", "x0", "y0", "x1", "y1"), ("a.png", 0, 0, 160, 96), ("b.png", 0, 0, 160, 96)]
        )
    done = matline(
        "keypoints", "a.png", "b.png", "--backend", READER, "--pair-region", "regions.csv",
        "--to", "found.json",
    )  # fmt: skip
    assert done.code == 0, done.err
    found = json.loads((tmp_path / "found.json").read_text())
    assert [image["file_name"] for image in found["images"]] == ["a.png", "b.png"]
    assert [a["image_id"] for a in found["annotations"]] == [1, 1, 2, 2]


def test_keypoints_of_a_video_carry_the_pictures_times(matline, tmp_path):
    make_clip(tmp_path / "clip.mp4", 2)
    done = matline("keypoints", "clip.mp4", "--backend", READER)
    assert done.code == 0, done.err
    images = json.loads((tmp_path / "keypoints.json").read_text())["images"]
    assert [image["time_s"] for image in images] == pytest.approx(np.arange(0, 2, 0.2))


def test_a_plan_says_how_much_there_is_and_does_nothing(matline, tmp_path):
    make_clip(tmp_path / "clip.mp4", 4)
    done = matline("read", "clip.mp4", "--backend", READER, "--plan")
    assert done.out.startswith("1 file, 4 s of footage")
    assert "empty" in matline("bouts").err


def test_ctrl_c_says_that_it_goes_on_and_leaves_no_worker_behind(tmp_path):
    make_clip(tmp_path / "clip.mp4", 60)
    code = "from pipeline.cli import main; main()"
    process = subprocess.Popen(
        [sys.executable, "-c", code, "read", str(tmp_path / "clip.mp4"), "--workers", "1",
         "--backend", "tests.overnight.kills:SlowReader", "--library", str(tmp_path / "library")],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True,
        # A shell's background jobs ignore it, and so would what they start.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
    )  # fmt: skip
    assert process.stdout is not None
    assert process.stdout.readline().startswith("1 file, 60 s")  # from here on it reads
    os.killpg(process.pid, signal.SIGINT)  # as a terminal does: to everyone in the group
    _, said = process.communicate(timeout=60)
    assert process.returncode == 130
    assert said.strip() == "Stopped. What was done is kept; the same command goes on."
    assert ends(process.pid)


def ends(group: int) -> bool:
    """Return whether all programs of a group end within a while."""
    for _ in range(100):
        try:
            os.killpg(group, 0)
        except ProcessLookupError:
            return True
        time.sleep(0.1)
    return False


def test_the_version_can_be_asked(matline):
    assert matline("--version").out.startswith("matline 0.")


def test_a_title_cannot_steer_the_terminal(matline, tmp_path, bout):
    Library(tmp_path / "library").update_bout(bout, title="\x1b]0;owned\x07\x1b[2Jfinal\r\nfake")
    for done in (matline("bouts"), matline("describe", bout), matline("remove", bout, "--yes")):
        assert "final" in done.out
        assert not set(done.out) & set("\x1b\x07\r")
    assert "\x1b" not in matline("export", "\x1b[31mgone").err


def test_one_picture_is_one_picture(matline, tmp_path):
    cv2.imwrite(str(tmp_path / "a.png"), picture(0.0)[..., ::-1])
    assert ": 1 picture, " in matline("keypoints", "a.png", "--backend", READER).out


def test_a_damaged_library_is_restored_by_the_check(matline, tmp_path, bout):
    library = Library(tmp_path / "library")
    library.append(bout, Correction("note", {"segment": library.timeline(bout).segments[0].id,
                                             "text": "knee first"}))  # fmt: skip
    (tmp_path / "library" / "library.sqlite3").write_bytes(b"\x00" * 9000)
    said = refused(matline("bouts"))
    assert "damaged" in said
    assert "matline check" in said
    checked = matline("check")
    assert "RESTORED library: the copy of" in checked.out
    assert "1 bout" in checked.out or "isn't there" in checked.out
    assert matline("bouts").code == 0
    assert Library(tmp_path / "library").timeline(bout).segments[0].note == "knee first"
    assert "RESTORED" not in matline("check").out


def test_an_empty_library_says_so_and_not_to_ask_for_less(matline):
    for command in ("report", "clips"):
        said = refused(matline(command))
        assert "library is empty" in said
