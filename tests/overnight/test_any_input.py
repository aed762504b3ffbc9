"""No file of any kind ends a night: it is read, or named in a sentence, and the others are read."""

import json
import math
import os
import shutil
import struct
from collections.abc import Callable
from contextlib import closing
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
from typer.testing import CliRunner

from pipeline.cli import app
from pipeline.footage import Footage
from pipeline.footage.watch import ASTRAY
from pipeline.library import Library
from pipeline.outputs import export_bout
from pipeline.overnight import InThisProcess, LocalProcesses
from pipeline.overnight.reading import about_file
from pipeline.positions import PositionModel
from pipeline.review.night import last_night
from pipeline.settings import Settings
from tests.overnight.bench_fuzz import complaints
from tests.overnight.bench_fuzz import night as fuzzed_night
from tests.overnight.figures import UndecidedModel, make_clip, picture
from tests.overnight.spoilt import make_films, spoilt_films
from tests.overnight.test_bouts import at_it_when_seen, night, two_bouts  # noqa: F401
from tests.overnight.test_night import READER, became, plan_and_run


@pytest.fixture
def library(tmp_path) -> Library:
    return Library(tmp_path / "library")


@pytest.fixture
def no_model(monkeypatch):
    """Leave the positions undecided: the test is about files."""
    monkeypatch.setattr(PositionModel, "load", lambda *_: UndecidedModel())


@pytest.mark.usefixtures("no_model")
def test_spoilt_films_of_every_kind_end_no_night(tmp_path):
    # ``python -m tests.overnight.bench_fuzz`` tries hundreds.
    films = make_films(tmp_path, 1.0)
    (tmp_path / "spoilt").mkdir()
    list(spoilt_films(films[::3], tmp_path / "spoilt", 14, seed=1))
    summary = fuzzed_night(tmp_path / "library", tmp_path / "spoilt", InThisProcess())
    assert complaints(tmp_path / "library", summary) == []


def without_a_good_picture(path: Path) -> Path:
    """Write a film whose only key frame is damaged, though it decodes; the others lean on it."""
    data = bytearray(make_clip(path, 2, key_every=1000).read_bytes())
    for at in range(0, len(data), 188):  # marked by the receiver (ISO/IEC 13818-1, 2.4.3.2)
        if int.from_bytes(data[at + 1 : at + 3], "big") & 0x1FFF == 0x100:
            data[at + 1] |= 0x80
    path.write_bytes(data)
    return path


def test_a_film_without_one_good_picture_fails_with_a_sentence(library, tmp_path):
    bad = without_a_good_picture(tmp_path / "bad.ts")
    assert Footage.open(bad).info.width == 160  # it opens
    _, summary = plan_and_run(library, bad, make_clip(tmp_path / "good.mp4", 3))
    assert became(summary) == ["failed", "read"]
    assert "bad.ts: none of its pictures" in summary.files[0].why
    assert [bout.title for bout in library.bouts()] == ["good"]


def test_whatever_goes_wrong_in_saving_a_file_is_that_files_failure(library, tmp_path, monkeypatch):
    asked = [make_clip(tmp_path / "a.mp4", 3), make_clip(tmp_path / "b.mp4", 4)]
    save = Library.save_reading

    def stumbling(self, bout_id, *about, **details):
        if self.bout(bout_id).title == "a":
            raise ValueError("nobody thought of this")
        save(self, bout_id, *about, **details)

    monkeypatch.setattr(Library, "save_reading", stumbling)
    _, summary = plan_and_run(library, *asked)
    assert became(summary) == ["failed", "read"]
    assert "a.mp4" in summary.files[0].why
    assert "ValueError: nobody thought of this" in summary.files[0].why


@pytest.mark.usefixtures("no_model")
def test_bouts_of_a_file_that_were_not_saved_are_saved_in_the_next_night(
    library,
    two_bouts,  # noqa: F811
    at_it_when_seen,  # noqa: F811
    monkeypatch,
):
    save, saved = Library.save_reading, []

    def stopped(self, bout_id, *about, **details):
        if saved:
            raise KeyboardInterrupt
        saved.append(bout_id)
        save(self, bout_id, *about, **details)

    monkeypatch.setattr(Library, "save_reading", stopped)
    with pytest.raises(KeyboardInterrupt):
        night(library, two_bouts)
    monkeypatch.setattr(Library, "save_reading", save)
    summary = night(library, two_bouts)
    assert became(summary) == ["read"]
    assert [bout.title for bout in library.bouts()] == ["mat 1, bout 1", "mat 1, bout 2"]
    assert all(bout.reader for bout in library.bouts())
    assert became(night(library, two_bouts)) == ["known"]


ODD_NAME = os.fsdecode(b"final \xff\xe9.mp4")


def test_a_file_name_that_is_not_utf_8_is_kept_and_shown_safely(library, tmp_path):
    film = make_clip(tmp_path / "x.mp4", 3).rename(tmp_path / ODD_NAME)
    with closing(LocalProcesses(1)) as engine:
        _, summary = plan_and_run(library, tmp_path, engine=engine)
    assert became(summary) == ["read"]
    bout = library.bouts()[0]
    assert bout.footage == film
    assert bout.title == "final ��"
    said = "\n".join([*summary.lines(), *library.problems()])
    shown = last_night(library).model_dump_json() + json.dumps(said, ensure_ascii=False)
    assert "final ��.mp4" in shown.encode().decode()
    assert export_bout(library, bout.id, tmp_path / "out", ["csv", "json"])
    _, again = plan_and_run(library, tmp_path)
    assert became(again) == ["known"]


def test_a_bad_file_with_such_a_name_is_named_on_the_terminal(tmp_path):
    (tmp_path / ODD_NAME).write_text("no video")
    arguments = ["read", str(tmp_path / ODD_NAME), "--library", str(tmp_path / "library")]
    done = CliRunner().invoke(app, [*arguments, "--backend", READER])
    assert done.exit_code == 1
    assert "final ��.mp4: this is not a video" in str(done.exception)


def claiming(duration_ms: float) -> Callable[[Path], Path]:
    """Return a maker of Matroska files whose header states a length."""

    def make(path: Path) -> Path:
        path = path.with_suffix(".mkv")
        data = make_clip(path, 3).read_bytes()
        at = data.index(b"\x44\x89\x88") + 3  # Duration, a float of 8 bytes (RFC 9559, 5.1.2.10)
        path.write_bytes(data[:at] + struct.pack(">d", duration_ms) + data[at + 8 :])
        return path

    return make


def jumping(suffix: str, jump_s: float) -> Callable[[Path], Path]:
    """Return a maker of files whose last pictures have times far ahead."""

    def make(path: Path) -> Path:
        path = path.with_suffix(suffix)
        with av.open(str(path), "w") as container:
            stream = container.add_stream("libx264", rate=10)
            stream.width, stream.height, stream.pix_fmt = 160, 96, "yuv420p"
            stream.codec_context.time_base = Fraction(1, 10)
            stream.options = {"g": "10", "bf": "0"}
            packets: list[av.Packet] = []
            for number in range(40):
                frame = av.VideoFrame.from_ndarray(picture(number / 10), format="rgb24")
                frame.pts = number
                packets += stream.encode(frame)
            for packet in [*packets, *stream.encode(None)]:
                if packet.pts >= 30:
                    packet.pts += round(jump_s * 10)
                    packet.dts = packet.pts
                container.mux(packet)
        return path

    return make


ABSURD = {
    "a header of 30,000 years": claiming(1e15),
    "a header of 30 years": claiming(1e12),
    "a header of 12 days": claiming(1e9),
    "a header of a day, and no such size": claiming(8e7),
    "a header of less than nothing": claiming(-1e9),
    "a header of no number": claiming(math.nan),
    "pictures 280 years ahead": jumping(".nut", 9e9),
    "pictures 12 days ahead": jumping(".mkv", 1e6),
}


@pytest.mark.parametrize("make", ABSURD.values(), ids=ABSURD.keys())
def test_a_length_that_cannot_be_is_not_believed(library, tmp_path, make):
    film = make(tmp_path / "film")
    info, pieces = about_file(film, Settings())
    assert info.duration_s == pytest.approx(3.0, abs=0.2)
    assert len(pieces) == 1
    _, summary = plan_and_run(library, film)
    assert became(summary) == ["read"]
    times, _ = library.keypoints(library.bouts()[0].id)
    assert times == pytest.approx(np.arange(15) / 5)


def test_pictures_whose_times_are_left_out_are_said(tmp_path):
    footage = Footage.open(ABSURD["pictures 280 years ahead"](tmp_path / "film"))
    assert len(list(footage.frames())) == 15
    assert [gap.reason for gap in footage.gaps] == [ASTRAY]


def test_hours_without_a_picture_are_no_pieces(tmp_path):
    film = jumping(".mkv", 9 * 3600)(tmp_path / "film")
    info, pieces = about_file(film, Settings())
    assert info.duration_s == pytest.approx(9 * 3600 + 4, abs=0.2)
    assert [(piece.start_s, piece.end_s) for piece in pieces] == [
        (0, pytest.approx(9 * 3600 + 3)), (pytest.approx(9 * 3600 + 3), math.inf),
    ]  # fmt: skip


def test_a_night_refused_for_its_size_names_the_longest_file(library, tmp_path, monkeypatch):
    film, short = make_clip(tmp_path / "long.mp4", 5), make_clip(tmp_path / "short.mp4", 3)
    usage = shutil.disk_usage(library.root)._replace(free=1000)
    monkeypatch.setattr("pipeline.overnight.plan.shutil.disk_usage", lambda _: usage)
    with pytest.raises(Exception, match=r"longest file is .*long\.mp4, 5 s"):
        plan_and_run(library, short, film)


def test_a_film_that_was_cut_off_says_so_with_the_time(library, tmp_path):
    path = tmp_path / "card.mkv"
    data = make_clip(path, 90, rate=4).read_bytes()
    path.write_bytes(data[: len(data) * 3 // 4])
    _, summary = plan_and_run(library, path)
    (line, *_) = summary.lines()
    assert "Cut off at 1:06: the file states 1:30." in line
    assert "Cut off at 1:06" in last_night(library).files[0].facts
    assert library.bouts()[0].end_s == pytest.approx(66.5, abs=0.5)


def test_a_cut_off_mp4_says_so_too(library, tmp_path):
    whole = make_clip(tmp_path / "whole.mp4", 20)
    path = tmp_path / "card.mp4"
    index_first = {"movflags": "+faststart"}
    with av.open(str(whole)) as given, av.open(str(path), "w", options=index_first) as made:
        stream = made.add_stream_from_template(given.streams.video[0])
        for packet in given.demux(video=0):
            if packet.dts is not None:
                packet.stream = stream
                made.mux(packet)
    data = path.read_bytes()
    path.write_bytes(data[: len(data) // 2])
    _, summary = plan_and_run(library, path)
    assert "Cut off at 0:" in summary.lines()[0]
    assert "the file states 0:20." in summary.lines()[0]
