"""What a worker does; functions of their own so that any engine can call them by name."""

from __future__ import annotations

import time
from dataclasses import dataclass, replace
from functools import lru_cache
from importlib import import_module
from pathlib import Path

from pipeline.bodies import READERS, BodyReader, make_reader
from pipeline.errors import MatlineError
from pipeline.footage import Footage, FootageInfo, make_proxy
from pipeline.footage.info import content_key
from pipeline.footage.watch import CUT_OFF
from pipeline.overnight.bouts import Span, find_bouts
from pipeline.overnight.chunk import Chunk, ChunkReading, read_chunk
from pipeline.overnight.reading import Reading, about_file, assemble
from pipeline.overnight.store import ChunkStore, reading_key
from pipeline.settings import Settings


def default_backend() -> str:
    """Return the best reader whose files are there."""
    return next((name for name, (_, is_there) in READERS.items() if is_there()), "mediapipe")


@dataclass(frozen=True)
class BoutReading:
    """The reading of one bout, and where it lies in its file."""

    start_s: float
    end_s: float
    reading: Reading


@lru_cache(maxsize=1)
def reader_of(backend: str) -> BodyReader:
    """Return the body reader, loaded once a worker.

    Besides Matline's own, any class that keeps the protocol `BodyReader`: ``package.module:Class``.
    """
    module, colon, name = backend.partition(":")
    if not colon:
        return make_reader(backend, threads=1)
    try:
        return getattr(import_module(module), name)()
    except (ImportError, AttributeError) as error:
        raise MatlineError(f"The reader {backend} can't be loaded: {error}.") from error


def look_at(path: Path, settings: Settings) -> tuple[FootageInfo, list[Chunk]]:
    """Return what a file is and its pieces."""
    return about_file(path, settings)


def keep_chunk(
    info: FootageInfo, chunk: Chunk, backend: str, settings: Settings, root: Path
) -> float | None:
    """Read one piece and keep it; do nothing if that was done before.

    Returns
    -------
    float or None
        Seconds of work, for the next estimate.
    """
    reader = reader_of(backend)
    store = ChunkStore(root, info.key, reading_key(reader, settings))
    if store.load(chunk) is not None:
        return None
    _check_unchanged(info)
    began = time.monotonic()
    one_thread = replace(settings.footage, decode_threads=1)
    reading = read_chunk(Footage(info, one_thread), chunk, reader, settings)
    _check_unchanged(info)
    store.save(chunk, reading)
    return time.monotonic() - began


def put_together(
    info: FootageInfo,
    chunks: list[Chunk],
    backend: str,
    settings: Settings,
    root: Path,
    whole: bool = False,
) -> list[BoutReading]:
    """Make readings of a file's pieces; one whose file turns out damaged is read again.

    Returns
    -------
    list of BoutReading
        One of the whole file, or, where it holds several bouts and `whole` is False, one a bout.
    """
    store = ChunkStore(root, info.key, reading_key(reader_of(backend), settings))
    parts = [_part(store, info, chunk, backend, settings, root) for chunk in chunks]
    if not any(part.people for part in parts):
        raise MatlineError(
            f"{info.path}: none of its pictures could be decoded well enough; the file is damaged "
            "or encrypted, copy it from the camera again."
        )
    reading = assemble(parts, settings)
    spans = [] if whole else find_bouts(reading, settings.overnight)
    if len(spans) < 2:
        return [BoutReading(0.0, info.duration_s, reading)]
    # Each bout has athletes of its own, so who is who is settled within it.
    return [_bout_reading(parts, span, info, settings, is_last=span == spans[-1]) for span in spans]


def _bout_reading(
    parts: list[ChunkReading], span: Span, info: FootageInfo, settings: Settings, is_last: bool
) -> BoutReading:
    start_s, end_s = span
    reading = assemble(within(parts, start_s, end_s), settings)
    if is_last:  # that the file was cut off is said with its last bout, however long after it
        cut_off = [gap for part in parts for gap in part.gaps if gap.reason == CUT_OFF]
        gaps = tuple(dict.fromkeys((*reading.gaps, *cut_off)))
        reading = replace(reading, gaps=gaps)
    return BoutReading(start_s, min(end_s, info.duration_s), reading)


def keep_copy(info: FootageInfo, out: Path) -> None:
    """Make the copy that browsers can play, unless it is there."""
    if not out.is_file():
        make_proxy(info.path, out)


def within(parts: list[ChunkReading], start_s: float, end_s: float) -> list[ChunkReading]:
    """Return what was seen in ``[start_s, end_s)``."""
    return [
        ChunkReading(
            tuple(people for people in part.people if start_s <= people.time_s < end_s),
            tuple(gap for gap in part.gaps if gap.start_s < end_s and gap.end_s > start_s),
        )
        for part in parts
    ]


def _part(
    store: ChunkStore,
    info: FootageInfo,
    chunk: Chunk,
    backend: str,
    settings: Settings,
    root: Path,
) -> ChunkReading:
    part = store.load(chunk)
    if part is None:
        keep_chunk(info, chunk, backend, settings, root)
        part = store.load(chunk)
    if part is None:
        raise MatlineError(
            f"{info.path}: what was read at {chunk.start_s:.0f} s can't be kept in "
            f"{store.folder}; check that disk."
        )
    return part


def _check_unchanged(info: FootageInfo) -> None:
    try:
        now = content_key(info.path)
    except OSError as error:
        raise MatlineError(
            f"{info.path}: it can't be read any more ({error.strerror}); is the disk or card still "
            "connected?"
        ) from error
    if now != info.key:
        raise MatlineError(
            f"{info.path}: it changed while it was being read; read it again when it has been "
            "copied completely."
        )
