"""Damage is a recorded gap, not the end; a hopeless file is one clear sentence."""

from __future__ import annotations

import math
import os
import struct
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from pipeline.footage import Footage, FootageError
from tests.footage.recordings import every, make_video, number_in


def damaged(path: Path, share: float = 0.05, at: float = 0.5, seed: int = 1) -> Path:
    """Return a copy with a run of noise inside."""
    data = bytearray(path.read_bytes())
    start, length = int(len(data) * at), int(len(data) * share)
    data[start : start + length] = np.random.default_rng(seed).bytes(length)
    copy = path.with_stem(f"{path.stem}_damaged_{at}_{seed}")
    copy.write_bytes(data)
    return copy


@pytest.mark.parametrize(
    ("name", "share"), [("cfr.mp4", 0.05), ("vfr.mkv", 0.1), ("offset.ts", 0.2)]
)
def test_reading_goes_on_after_damage_and_the_gap_is_recorded(videos, name, share):
    whole = [f.time_s for f in Footage.open(videos(name)).frames(math.inf)]
    footage = Footage.open(damaged(videos(name), share))
    times = np.array([f.time_s for f in footage.frames(math.inf)])
    assert footage.gaps
    assert times[-1] > whole[-1] - 0.2
    assert set(np.round(times, 6)) <= set(np.round(whole, 6))
    for gap in footage.gaps:
        assert not ((times > gap.start_s) & (times < gap.end_s)).any()
    lost = np.setdiff1d(np.round(whole, 6), np.round(times, 6))
    inside = [any(g.start_s < t < g.end_s for g in footage.gaps) for t in lost]
    assert np.mean(inside) > 0.9


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("name", ["cfr.mp4", "vfr.mkv"])
def test_no_garbled_picture_is_passed_on_as_good(videos, name, seed):
    whole = {f.time_s: f.image.astype(int) for f in Footage.open(videos(name)).frames(math.inf)}
    copy = damaged(videos(name), share=0.02, at=0.3 + seed / 12, seed=seed)
    for frame in Footage.open(copy).frames(5.0):
        assert np.abs(frame.image - whole[frame.time_s]).mean() < 3, frame.time_s


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("name", ["cfr.mp4", "vfr.mkv", "offset.ts"])
def test_chunks_of_a_damaged_file_give_the_samples_of_one_reading(videos, name, seed):
    footage = Footage.open(damaged(videos(name), at=0.25 + seed / 8, seed=seed))
    whole = list(footage.frames(5.0))
    borders = [*footage.key_frame_times(), math.inf]
    parts = [f for start, end in pairwise(borders) for f in footage.frames(5.0, start, end)]
    assert [f.time_s for f in parts] == [f.time_s for f in whole]
    for part, once in zip(parts, whole, strict=True):
        np.testing.assert_array_equal(part.image, once.image)


def test_a_recording_cut_short_says_how_much_is_missing(tmp_path):
    path = make_video(
        tmp_path / "cut.mp4", every(3000, 150), container_options={"movflags": "+faststart"}
    )
    data = path.read_bytes()
    path.write_bytes(data[: len(data) // 2])
    footage = Footage.open(path)
    times = [f.time_s for f in footage.frames(5.0)]
    assert 1.0 < times[-1] < 4.5
    assert footage.gaps[-1].end_s == pytest.approx(5.0, abs=0.05)
    assert footage.gaps[-1].start_s < times[-1] + 0.3


def test_a_recording_that_lost_its_index_says_so(videos, tmp_path):
    data = videos("cfr.mp4").read_bytes()  # its index comes last
    path = tmp_path / "cut.mp4"
    path.write_bytes(data[: data.rindex(b"moov") - 4])
    with pytest.raises(FootageError, match=r"cut\.mp4.*cut off before its index"):
        Footage.open(path)


def test_a_length_that_was_never_written_is_measured(tmp_path):
    path = make_video(tmp_path / "live.mkv", every(3000, 90), container_options={"live": "1"})
    assert Footage.open(path).info.duration_s == pytest.approx(3.0, abs=0.05)


def test_a_frame_size_that_changes_midway_keeps_the_first_size(tmp_path):
    first = make_video(tmp_path / "a.ts", every(3000, 30), container="mpegts")
    second = make_video(
        tmp_path / "b.ts", every(3000, 30, 90_000), size=(480, 272), container="mpegts"
    )
    joined = tmp_path / "joined.ts"
    joined.write_bytes(first.read_bytes() + second.read_bytes())
    frames = list(Footage.open(joined).frames(math.inf))
    assert {f.image.shape for f in frames} == {(136, 240, 3)}
    assert number_in(frames[-1].image) == 29
    assert frames[-1].time_s > 1.5


def test_a_second_recording_glued_on_is_reported_and_not_silently_lost(videos, tmp_path):
    joined = tmp_path / "joined.ts"
    joined.write_bytes(videos("offset.ts").read_bytes() * 2)
    footage = Footage.open(joined)
    times = [f.time_s for f in footage.frames(5.0)]
    assert times == pytest.approx(np.arange(25) / 5)
    (gap,) = [gap for gap in footage.gaps if "backwards" in gap.reason]
    assert gap.end_s - gap.start_s > 3.0  # of 5 s


def test_a_stretch_far_behind_its_key_frame_is_no_recording_glued_on(tmp_path):
    path = make_video(tmp_path / "one_key.mp4", every(3000, 360), options={"g": "1000", "bf": "2"})
    footage = Footage.open(path)
    times = [f.time_s for f in footage.frames(5.0, start_s=9.0)]
    assert times == pytest.approx(9 + np.arange(15) / 5)
    assert list(footage.gaps) == []


def bad_inputs(folder: Path) -> dict[str, tuple[Path, str]]:
    """Return files that can't be read, each with words its error must hold."""
    made: dict[str, tuple[Path, str]] = {"missing": (folder / "none.mp4", "no such file")}

    def add(name: str, data: bytes, words: str) -> None:
        path = folder / name
        path.write_bytes(data)
        made[name] = (path, words)

    add("empty.mp4", b"", "empty")
    add("text.mp4", b"round one, mat two\n" * 100, "not a video")
    add("notes.txt", b"round one, mat two\n" * 100, "not a video")
    add("zeros.mov", bytes(100_000), "not a video")
    add("noise.mkv", np.random.default_rng(0).bytes(100_000), "not a video|no picture|no video")
    add("list.mp4", b"#EXTM3U\n#EXTINF:9,\nhttp://localhost/a.ts\n#EXT-X-ENDLIST\n", "not a video")
    add("list.m3u8", b"#EXTM3U\n#EXTINF:9,\ncfr.mp4\n#EXT-X-ENDLIST\n", "not a video")
    add("join.mp4", b"ffconcat version 1.0\nfile /etc/hostname\n", "not a video")
    add("head.mp4", struct.pack(">I4s4sI", 16, b"ftyp", b"isom", 512), "cut off before its index")
    sound = folder / "sound.wav"
    rate, samples = 8000, bytes(16_000)
    shape = struct.pack("<IHHIIHH", 16, 1, 1, rate, rate * 2, 2, 16)
    parts = b"WAVEfmt " + shape + b"data" + struct.pack("<I", len(samples)) + samples
    sound.write_bytes(b"RIFF" + struct.pack("<I", len(parts)) + parts)
    made["sound.wav"] = (sound, "only sound")
    (folder / "folder.mp4").mkdir()
    made["folder.mp4"] = (folder / "folder.mp4", "folder")
    os.mkfifo(folder / "pipe.mp4")
    made["pipe.mp4"] = (folder / "pipe.mp4", "not a regular file")
    return made


def test_every_hopeless_file_is_named_and_explained_in_one_sentence(tmp_path):
    for name, (path, words) in bad_inputs(tmp_path).items():
        with pytest.raises(FootageError, match=words) as caught:
            Footage.open(path)
        assert str(path) in str(caught.value), name
        assert "\n" not in str(caught.value), name


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read every file")
def test_a_file_without_permission_says_so(videos, tmp_path):
    path = tmp_path / "locked.mp4"
    path.write_bytes(videos("cfr.mp4").read_bytes())
    path.chmod(0)
    with pytest.raises(FootageError, match="no permission"):
        Footage.open(path)


def test_a_file_name_that_looks_like_an_address_is_a_file_name(videos, tmp_path):
    path = tmp_path / "http:mat 1?final#2%d.mp4"
    path.write_bytes(videos("cfr.mp4").read_bytes())
    assert Footage.open(path).info.duration_s == pytest.approx(5.0)


def test_two_copies_of_a_recording_share_their_key_and_a_changed_one_does_not(videos, tmp_path):
    data = videos("cfr.mp4").read_bytes()
    copy, changed = tmp_path / "copy.mp4", tmp_path / "changed.mp4"
    copy.write_bytes(data)
    changed.write_bytes(data[:-1] + bytes([data[-1] ^ 1]))
    key = Footage.open(videos("cfr.mp4")).info.key
    assert Footage.open(copy).info.key == key
    assert Footage.open(changed).info.key != key
