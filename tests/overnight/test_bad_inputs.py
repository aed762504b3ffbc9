"""Forty kinds of files that are no footage: each refused in one sentence that names it."""

import gzip
import json
import os
import wave
import zipfile
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pytest

from pipeline.errors import MatlineError
from pipeline.overnight.reading import about_file
from pipeline.settings import Settings
from tests.overnight.figures import make_clip, picture

Make = Callable[[Path], object]


def text(content: str) -> Make:
    return lambda path: path.write_text(content, encoding="utf-8")


def data(content: bytes) -> Make:
    return lambda path: path.write_bytes(content)


def still(suffix: str) -> Make:
    return lambda path: path.write_bytes(cv2.imencode(suffix, picture(0.0))[1].tobytes())


def sound(path: Path) -> None:
    with wave.open(str(path), "wb") as file:
        file.setparams((1, 2, 8000, 0, "NONE", ""))
        file.writeframes(bytes(16000))


def archive(path: Path) -> None:
    with zipfile.ZipFile(path, "w") as file:
        file.writestr("final.mp4", bytes(1000))


def cut_clip(keep: Callable[[bytes], bytes]) -> Make:
    def make(path: Path) -> None:
        whole = make_clip(path.with_name("whole.mp4"), 2).read_bytes()
        path.write_bytes(keep(whole))

    return make


def without_index(whole: bytes) -> bytes:
    return whole[: whole.index(b"moov") - 4]


def index_zeroed(whole: bytes) -> bytes:
    start = whole.index(b"moov") + 4
    return whole[:start] + bytes(len(whole) - start)


def data_zeroed(whole: bytes) -> bytes:
    start = whole.index(b"mdat") + 4
    end = whole.index(b"moov") - 4
    return whole[:start] + bytes(end - start) + whole[end:]


PLAY_LIST = "#EXTM3U\n#EXT-X-TARGETDURATION:10\n#EXTINF:10,\n{}\n#EXT-X-ENDLIST\n"

BAD: dict[str, Make] = {
    "missing.mp4": lambda path: None,
    "folder.mp4": lambda path: path.mkdir(),
    "link to nowhere.mp4": lambda path: path.symlink_to("nowhere.mp4"),
    "link to itself.mp4": lambda path: path.symlink_to(path.name),
    "pipe.mp4": lambda path: os.mkfifo(path),
    "device.mp4": lambda path: path.symlink_to("/dev/null"),
    "empty.mp4": data(b""),
    "one byte.mp4": data(b"\0"),
    "zeros.mp4": data(bytes(100_000)),
    "noise.mp4": data(np.random.default_rng(0).bytes(100_000)),
    "text.mp4": text("no video"),
    "long text.mp4": text("no video\n" * 20_000),
    "emoji.mp4": text("🤼" * 1000),
    "page.mp4": text("<!doctype html><title>Not found</title>"),
    "data.mp4": text(json.dumps({"video": True})),
    "table.mp4": text("start_s,end_s\n1,2\n"),
    "program.mp4": data(b"\x7fELF" + bytes(2000)),
    "document.mp4": data(b"%PDF-1.7\n" + bytes(2000)),
    "archive.mp4": archive,
    "packed.mp4": lambda path: path.write_bytes(gzip.compress(bytes(10_000))),
    "photo.mp4": still(".jpg"),
    "drawing.mp4": still(".png"),
    "photo.jpg": still(".jpg"),
    "sound.wav": sound,
    "sound.mp4": sound,
    "subtitles.vtt": text("WEBVTT\n\n00:01.000 --> 00:02.000\nmount\n"),
    "subtitles.srt": text("1\n00:00:01,000 --> 00:00:02,000\nmount\n"),
    "styled.ass": text("[Script Info]\nTitle: x\n[Events]\n"),
    "list.m3u8": text(PLAY_LIST.format("whole.mp4")),
    "list.mp4": text(PLAY_LIST.format("whole.mp4")),
    "list of addresses.mp4": text(PLAY_LIST.format("http://127.0.0.1:9/x.ts")),
    "joined.ffconcat": text("ffconcat version 1.0\nfile whole.mp4\n"),
    "stream.sdp": text("v=0\no=- 0 0 IN IP4 127.0.0.1\ns=x\nm=video 5004 RTP/AVP 96\n"),
    "manifest.mpd": text('<?xml version="1.0"?><MPD xmlns="urn:mpeg:dash:schema:mpd:2011"/>'),
    "cut at once.mp4": cut_clip(lambda whole: whole[:40]),
    "cut before its index.mp4": cut_clip(without_index),
    "index zeroed.mp4": cut_clip(index_zeroed),
    "pictures zeroed.mp4": cut_clip(data_zeroed),
    "only its end.mp4": cut_clip(lambda whole: whole[len(whole) // 2 :]),
    "._beside.mp4": data(b"\x00\x05\x16\x07\x00\x02\x00\x00Mac OS X" + bytes(4000)),
}


@pytest.mark.parametrize(("name", "make"), BAD.items(), ids=BAD.keys())
def test_it_is_refused_in_a_sentence_that_names_it(tmp_path, name, make):
    make(tmp_path / name)
    with pytest.raises(MatlineError) as refused:
        about_file(tmp_path / name, Settings())
    said = str(refused.value)
    assert name in said
    assert "\n" not in said
    assert said.endswith((".", "?"))
    assert "Errno" not in said


def test_there_are_forty_kinds():
    # The number that docs/overnight.md gives.
    assert len(BAD) == 40


GOOD_NAMES = (
    "-rf.mp4",
    "mat 1: final.mp4",
    "100%.mp4",
    "a\"b'c.mp4",
    "größe 🤼.mp4",
    "line\nbreak.mp4",
)


@pytest.mark.parametrize("name", [*GOOD_NAMES, "no ending", "wrong ending.txt"])
def test_a_file_is_read_whatever_it_is_called(tmp_path, name):
    make_clip(tmp_path / "x.mp4", 1).rename(tmp_path / name)
    info, pieces = about_file(tmp_path / name, Settings())
    assert info.duration_s == pytest.approx(1, abs=0.01)
    assert len(pieces) == 1
