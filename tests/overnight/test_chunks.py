"""Cutting a file into pieces changes nothing in what is read, and a piece is whole or not there."""

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.errors import MatlineError
from pipeline.footage import Footage, Gap
from pipeline.overnight.chunk import Chunk, ChunkReading, chunks, read_chunk
from pipeline.overnight.store import ChunkStore, reading_key
from pipeline.settings import FootageSettings, Settings
from tests.overnight.figures import FigureReader, make_clip

SETTINGS = Settings()


@pytest.fixture(scope="module")
def clip(tmp_path_factory):
    return make_clip(tmp_path_factory.mktemp("clips") / "clip.mp4", 13)


@settings(deadline=None)
@given(
    st.floats(0, 20_000),
    st.lists(st.floats(0, 20_000), max_size=50).map(sorted),
    st.floats(1, 120),
)
def test_every_moment_belongs_to_exactly_one_chunk_none_too_long(duration_s, keys, longest_s):
    cut = chunks(duration_s, keys, longest_s)
    assert cut[0].start_s == 0
    assert cut[-1].end_s == math.inf
    assert all(before.end_s == after.start_s for before, after in pairwise(cut))
    for chunk in cut:
        length_s = min(chunk.end_s, duration_s) - chunk.start_s
        assert 0 < length_s <= longest_s + 1e-9 or duration_s == 0


def test_chunks_start_at_key_frames_where_they_are_near_enough():
    assert chunks(25, [0, 4, 8, 12, 16, 20, 24], 10) == [
        Chunk(0, 8), Chunk(8, 12), Chunk(12, 20), Chunk(20, math.inf),
    ]  # fmt: skip
    assert chunks(40, [0], 10) == [
        Chunk(0, 10), Chunk(10, 20), Chunk(20, 30), Chunk(30, math.inf),
    ]  # fmt: skip


@pytest.mark.parametrize("duration_s", [30, 60, 90, 125, 300, 1000])
def test_two_cores_finish_a_file_together(duration_s):
    keys = list(range(0, duration_s, 2))
    cut = chunks(duration_s, keys, 60)
    lengths = [min(chunk.end_s, duration_s) - chunk.start_s for chunk in cut]
    assert len(cut) % 2 == 0
    assert max(lengths) - min(lengths) <= 4


def test_a_short_clip_stays_whole():
    assert chunks(15, [0, 2, 4], 60) == [Chunk(0, math.inf)]


def same(a: ChunkReading, b: ChunkReading) -> bool:
    return a.gaps == b.gaps and all(
        (p.time_s, p.top, p.top_of, p.positions) == (q.time_s, q.top, q.top_of, q.positions)
        and all(
            np.array_equal(getattr(p, name), getattr(q, name), equal_nan=True)
            for name in ("keypoints", "clothing", "trunk", "doubt")
        )
        for p, q in zip(a.people, b.people, strict=True)
    )


@pytest.mark.parametrize("longest_s", [1.0, 3.7, 60.0])
def test_chunked_equals_unchunked(clip, longest_s):
    footage = Footage.open(clip)
    whole = read_chunk(footage, Chunk(0, math.inf), FigureReader(), SETTINGS)
    assert len(whole.people) == 65
    parts = [
        read_chunk(Footage.open(clip), chunk, FigureReader(), SETTINGS)
        for chunk in chunks(13, footage.key_frame_times(), longest_s)
    ]
    joined = ChunkReading(tuple(p for part in parts for p in part.people))
    assert same(joined, whole)


def test_a_stored_chunk_reads_back_to_the_bit(clip, tmp_path):
    chunk = Chunk(2, 6)
    read = read_chunk(Footage.open(clip), chunk, FigureReader(), SETTINGS)
    read = ChunkReading(read.people, (Gap(2.5, 3.0, "damage"),))
    store = ChunkStore(tmp_path, "content", "how")
    assert store.load(chunk) is None
    store.save(chunk, read)
    loaded = store.load(chunk)
    assert loaded is not None
    assert same(loaded, read)
    assert loaded.gaps == read.gaps


def test_a_chunk_without_pictures_is_kept_too(tmp_path):
    store = ChunkStore(tmp_path, "content", "how")
    store.save(Chunk(0, 1), ChunkReading(()))
    assert store.load(Chunk(0, 1)) == ChunkReading(())


@pytest.mark.parametrize("kept", [0, 1, 100, -1])
def test_a_truncated_chunk_is_read_again_instead_of_believed(clip, tmp_path, kept):
    store = ChunkStore(tmp_path, "content", "how")
    read = read_chunk(Footage.open(clip), Chunk(0, 3), FigureReader(), SETTINGS)
    store.save(Chunk(0, 3), read)
    path = store.path(Chunk(0, 3))
    path.write_bytes(path.read_bytes()[:kept])
    assert store.load(Chunk(0, 3)) is None
    assert not store.has(Chunk(0, 3))


def test_a_chunk_with_flipped_bytes_is_read_again_instead_of_believed(clip, tmp_path):
    store = ChunkStore(tmp_path, "content", "how")
    store.save(Chunk(0, 3), read_chunk(Footage.open(clip), Chunk(0, 3), FigureReader(), SETTINGS))
    path = store.path(Chunk(0, 3))
    damaged = bytearray(path.read_bytes())
    damaged[200:220] = bytes(20)
    path.write_bytes(damaged)
    assert store.load(Chunk(0, 3)) is None


def test_other_settings_or_another_reader_never_share_chunks():
    other_rate = Settings(footage=FootageSettings(rate_hz=8))
    more_threads = Settings(footage=FootageSettings(decode_threads=7))
    newer = FigureReader()
    newer.version = "2"
    keys = {
        reading_key(FigureReader(), SETTINGS),
        reading_key(FigureReader(), other_rate),
        reading_key(newer, SETTINGS),
    }
    assert len(keys) == 3
    assert reading_key(FigureReader(), more_threads) == reading_key(FigureReader(), SETTINGS)


def test_a_full_disk_leaves_no_half_chunk(tmp_path, monkeypatch):
    store = ChunkStore(tmp_path, "content", "how")

    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(np, "savez_compressed", full)
    with pytest.raises(MatlineError, match="disk is full"):
        store.save(Chunk(0, 1), ChunkReading(()))
    assert [p for p in tmp_path.rglob("*") if p.is_file()] == []
