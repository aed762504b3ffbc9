"""What a worker does; functions of their own so that any engine can call them by name."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from importlib import import_module
from pathlib import Path

from pipeline.bodies import READERS, BodyReader, make_reader
from pipeline.errors import MatlineError
from pipeline.footage import Footage, FootageInfo
from pipeline.footage.info import content_key
from pipeline.overnight.chunk import Chunk, read_chunk
from pipeline.overnight.reading import Reading, about_file, assemble
from pipeline.overnight.store import ChunkStore, reading_key
from pipeline.settings import Settings


def default_backend() -> str:
    """Return the best reader whose files are there."""
    return next((name for name, (_, is_there) in READERS.items() if is_there()), "mediapipe")


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
) -> None:
    """Read one piece and keep it; do nothing if that was done before."""
    reader = reader_of(backend)
    store = ChunkStore(root, info.key, reading_key(reader, settings))
    if store.load(chunk) is not None:
        return
    _check_unchanged(info)
    one_thread = replace(settings.footage, decode_threads=1)
    reading = read_chunk(Footage(info, one_thread), chunk, reader, settings)
    _check_unchanged(info)
    store.save(chunk, reading)


def put_together(
    info: FootageInfo, chunks: list[Chunk], backend: str, settings: Settings, root: Path
) -> Reading:
    """Make a reading of a file's pieces; one whose file turns out damaged is read again."""
    store = ChunkStore(root, info.key, reading_key(reader_of(backend), settings))
    parts = []
    for chunk in chunks:
        part = store.load(chunk)
        if part is None:
            keep_chunk(info, chunk, backend, settings, root)
            part = store.load(chunk)
        if part is None:
            raise MatlineError(
                f"{info.path}: what was read at {chunk.start_s:.0f} s can't be kept in "
                f"{store.folder}; check that disk."
            )
        parts.append(part)
    return assemble(parts, settings)


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
