"""A file → a reading: every room in its order, in pieces of a minute."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from pipeline.athletes import Athletes, Tracks
from pipeline.bodies import BodyReader
from pipeline.footage import Footage, FootageInfo, Gap
from pipeline.footage.layout import Layout
from pipeline.geometry import features
from pipeline.geometry.lifting import shipped_network
from pipeline.geometry.pair_lift import shipped_lift
from pipeline.moments import find_moments
from pipeline.overnight.chunk import Chunk, ChunkReading, chunks, read_chunk
from pipeline.overnight.store import ChunkStore, reading_key
from pipeline.positions import PositionModel, by_position, decode
from pipeline.positions.model import shipped_model
from pipeline.settings import Settings
from pipeline.timeline import Timeline

Progress = Callable[[float, float], None]
"""Called with how much is done and how much there is, in seconds of footage."""

BLOCK_S = 600.0
"""Seconds measured at once; intermediate numbers are ten times the size of what is kept."""

_AROUND_S = 16.0
"""Seconds of surroundings. Heights over the mat lean on a view of 12 s, each sample of which leans
on another: 6 and 6 s to a side, and the windows of `GeometrySettings` beyond."""


@dataclass(frozen=True)
class Reading:
    """What was read of a file.

    Attributes
    ----------
    times : ndarray, float64, (T,)
        Seconds from the first picture.
    keypoints : ndarray, float32, (T, 2, 17, 3)
    features : DataFrame
        Index ``time_s``.
    probabilities : DataFrame
        Index ``time_s``, columns = positions; rows sum to 1.
    proposal : Timeline
    gaps : tuple of Gap
        Stretches without good pictures.
    identity_confidence : ndarray, (T,)
        Probability that A is who was A at the first sample.
    scores : DataFrame or None
        The body reader's own scores of positions, where it has any; in `probabilities` already.
    """

    times: np.ndarray
    keypoints: np.ndarray
    features: pd.DataFrame
    probabilities: pd.DataFrame
    proposal: Timeline
    gaps: tuple[Gap, ...]
    identity_confidence: np.ndarray
    scores: pd.DataFrame | None = None


def read_file(
    path: str | Path,
    reader: BodyReader,
    settings: Settings | None = None,
    progress: Progress | None = None,
    store_root: Path | None = None,
) -> Reading:
    """Read a file from end to end, memory flat in its length but for the small numbers kept.

    Parameters
    ----------
    path : str or Path
    reader : BodyReader
        Reads the bodies, as `pipeline.bodies.make_reader` gives it.
    settings : Settings, optional
    progress : callable, optional
        Gets seconds done and seconds in all.
    store_root : Path, optional
        Folder where read pieces are kept, so that reading again goes on where it stopped.

    Raises
    ------
    MatlineError
        If the file can't be read; says why and what to do.
    """
    settings = settings or Settings()
    footage = Footage.open(path, settings.footage)
    info = footage.info
    store = ChunkStore(store_root, info.key, reading_key(reader, settings)) if store_root else None
    parts = []
    for chunk in plan_chunks(footage, settings):
        if progress is not None:
            progress(min(chunk.start_s, info.duration_s), info.duration_s)
        parts.append(_chunk(footage, chunk, reader, settings, store))
    if progress is not None:
        progress(info.duration_s, info.duration_s)
    return assemble(parts, settings)


def plan_chunks(footage: Footage, settings: Settings) -> list[Chunk]:
    """Return the pieces of a file; the same for every run over it."""
    return _cut(footage.layout(), settings)


def _cut(layout: Layout, settings: Settings) -> list[Chunk]:
    longest_s = settings.overnight.chunk_s
    next_starts = [*(start_s for start_s, _ in layout.runs[1:]), math.inf]
    return [
        # What lies between two runs of pictures belongs to the piece before it.
        replace(chunk, end_s=min(chunk.end_s, next_start_s))
        for (start_s, end_s), next_start_s in zip(layout.runs, next_starts, strict=True)
        for chunk in chunks(end_s, layout.key_times, longest_s, start_s)
    ]


def assemble(parts: Iterable[ChunkReading], settings: Settings) -> Reading:
    """Put the pieces of a file together: who is who, which position, what happened."""
    athletes = Athletes(settings.athletes)
    gaps: list[Gap] = []
    for part in parts:
        gaps += part.gaps
        for people in part.people:
            athletes.add(people)
    return read_tracks(athletes.result(), settings, tuple(gaps))


def read_tracks(tracks: Tracks, settings: Settings, gaps: tuple[Gap, ...] = ()) -> Reading:
    """Say what two athletes' skeletons, wherever they come from, show.

    Parameters
    ----------
    tracks : Tracks
    settings : Settings
    gaps : tuple of Gap, optional

    Returns
    -------
    Reading
    """
    table = features_in_blocks(tracks.times, tracks.keypoints, settings)
    model = PositionModel.load(settings.positions.model or None)
    probabilities = model.predict(table, tracks.positions, settings.positions)
    segments = decode(probabilities, settings.positions).segments if len(tracks) else ()
    moments = find_moments(table, segments, settings.moments) if len(tracks) else ()
    return Reading(
        times=tracks.times,
        keypoints=tracks.keypoints,
        features=table,
        probabilities=by_position(probabilities),
        proposal=Timeline(tuple(segments), tuple(moments)),
        gaps=gaps,
        identity_confidence=tracks.identity_confidence,
        scores=tracks.positions,
    )


def features_in_blocks(
    times: np.ndarray, keypoints: np.ndarray, settings: Settings, block_s: float = BLOCK_S
) -> pd.DataFrame:
    """Return what `pipeline.geometry.features` gives, in memory that doesn't grow with hours.

    Each block is measured with its surroundings, so that nothing changes at the borders.
    """
    tables = []
    for start_s in np.arange(times[0], times[-1] + block_s, block_s) if len(times) else [0.0]:
        first, last = np.searchsorted(times, [start_s - _AROUND_S, start_s + block_s + _AROUND_S])
        part = features(times[first:last], keypoints[first:last], settings=settings.geometry)
        own = (part.index >= start_s) & (part.index < start_s + block_s)
        tables.append(part[own])
    return pd.concat(tables)


def settings_hash(reader: BodyReader, settings: Settings) -> str:
    """Return a hash of all that a reading depends on, besides the footage."""
    # The model counts by what is in its file, not by where it lies.
    positions = replace(settings.positions, model="")
    rooms = (settings.geometry, positions, settings.moments)
    digest = hashlib.blake2b(reading_key(reader, settings).encode(), digest_size=8)
    digest.update(json.dumps([asdict(room) for room in rooms], sort_keys=True).encode())
    model = Path(settings.positions.model or shipped_model())
    for weights in (shipped_network(), shipped_lift(), model):
        if weights.is_file():
            digest.update(weights.read_bytes())
    return digest.hexdigest()


def about_file(path: str | Path, settings: Settings) -> tuple[FootageInfo, list[Chunk]]:
    """Return what a file is, its length as far as there are pictures, and its pieces."""
    footage = Footage.open(path, settings.footage)
    layout = footage.layout()
    return replace(footage.info, duration_s=layout.end_s), _cut(layout, settings)


def _chunk(
    footage: Footage,
    chunk: Chunk,
    reader: BodyReader,
    settings: Settings,
    store: ChunkStore | None,
) -> ChunkReading:
    kept = store.load(chunk) if store is not None else None
    if kept is not None:
        return kept
    # A handle of its own, so that the gaps it records are this chunk's alone.
    reading = read_chunk(Footage(footage.info, settings.footage), chunk, reader, settings)
    if store is not None:
        store.save(chunk, reading)
    return reading
