"""Chunks already read, one file each, named by what was read and how."""

from __future__ import annotations

import hashlib
import json
import zipfile
from dataclasses import asdict, replace
from pathlib import Path

import numpy as np

from pipeline.athletes import People, clothing
from pipeline.bodies import BodyReader
from pipeline.footage import Gap
from pipeline.library import written_whole
from pipeline.overnight.chunk import Chunk, ChunkReading
from pipeline.settings import Settings

_FORM = 4
"""Of the files; a change of the form makes old files unknown instead of misread."""


def reading_key(reader: BodyReader, settings: Settings) -> str:
    """Return a hash of everything that a chunk's content depends on, besides the footage.

    A reader whose answers change says so by another `version`, where it has one.
    """
    about = {
        "form": _FORM,
        "reader": reader.name,
        "version": getattr(reader, "version", ""),
        "rate_hz": settings.footage.rate_hz,
        "distrust_s": settings.footage.distrust_s,
        "gap_s": settings.footage.gap_s,
        "rough": (settings.footage.rough_side, settings.footage.rough_keys_s),
        "max_side": settings.overnight.max_side,
        "bodies": asdict(settings.bodies),
        "athletes": asdict(settings.athletes),
    }
    text = json.dumps(about, sort_keys=True)
    return hashlib.blake2b(text.encode(), digest_size=8).hexdigest()


class ChunkStore:
    """The chunks of one file under one set of settings.

    Parameters
    ----------
    root : Path
        Folder of all stores.
    content_key : str
        Of the footage.
    reading_key : str
        As `reading_key` gives it.
    """

    def __init__(self, root: Path, content_key: str, reading_key: str) -> None:
        self.folder = root / f"{content_key}-{reading_key}"

    def path(self, chunk: Chunk) -> Path:
        """Return where a chunk's file is, or would be."""
        return self.folder / f"{chunk.start_s:012.3f}-{chunk.end_s:.3f}.npz"

    def has(self, chunk: Chunk) -> bool:
        """Return whether a chunk was read; only `load` says whether its file is sound."""
        return self.path(chunk).exists()

    def save(self, chunk: Chunk, reading: ChunkReading) -> None:
        """Keep a chunk, whole or not at all."""
        with written_whole(self.path(chunk)) as part, part.open("wb") as file:
            np.savez_compressed(file, allow_pickle=False, **_arrays(reading))

    def load(self, chunk: Chunk) -> ChunkReading | None:
        """Return a chunk, or None if it was not read or its file is damaged."""
        path = self.path(chunk)
        try:
            with np.load(path, allow_pickle=False) as arrays:
                return _reading(dict(arrays))
        except FileNotFoundError:
            return None
        except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile):
            path.unlink(missing_ok=True)  # reading a minute again is cheaper than asking a human
            return None


def _arrays(reading: ChunkReading) -> dict[str, np.ndarray]:
    people = [p for sample in reading.people for p in sample.readings()]
    names = sorted({name for p in people for name in p.positions or ()})
    scores = [[(p.positions or {}).get(name, np.nan) for name in names] for p in people]
    return {
        "time_s": np.array([p.time_s for p in people], np.float64),
        "readings": np.array([len(sample.readings()) for sample in reading.people], np.int64),
        "count": np.array([len(p) for p in people], np.int64),
        "keypoints": _joined([p.keypoints for p in people], (17, 3), np.float32),
        "clothing": _joined([p.clothing for p in people], (clothing.LENGTH,), np.float32),
        "trunk": _joined([p.trunk for p in people], (), np.float64),
        "doubt": _joined([p.doubt for p in people], (), np.float64),
        "top": np.array([np.nan if p.top is None else p.top for p in people], np.float64),
        "top_of": np.array([p.top_of for p in people], np.int64),
        "pair": np.array([p.pair for p in people], np.bool_),
        "position_names": np.array(names, np.str_),
        "positions": np.array(scores, np.float64).reshape(len(people), len(names)),
        "gap_spans": np.array([(g.start_s, g.end_s) for g in reading.gaps]).reshape(-1, 2),
        "gap_reasons": np.array([g.reason for g in reading.gaps], np.str_),
    }


def _joined(parts: list[np.ndarray], shape: tuple[int, ...], kind: type) -> np.ndarray:
    return np.concatenate([np.zeros((0, *shape), kind), *parts]).astype(kind)


def _reading(arrays: dict[str, np.ndarray]) -> ChunkReading:
    ends = np.cumsum(arrays["count"])
    rows = [
        _people(arrays, t, slice(end - count, end))
        for t, (count, end) in enumerate(zip(arrays["count"], ends, strict=True))
    ]
    last = np.cumsum(arrays["readings"])
    people = tuple(
        rows[end - 1] if count == 1 else replace(rows[end - 2], other=rows[end - 1])
        for end, count in zip(last, arrays["readings"], strict=True)
    )
    gaps = zip(arrays["gap_spans"].tolist(), arrays["gap_reasons"].tolist(), strict=True)
    return ChunkReading(people, tuple(Gap(start, end, reason) for (start, end), reason in gaps))


def _people(arrays: dict[str, np.ndarray], t: int, part: slice) -> People:
    top, scores = float(arrays["top"][t]), arrays["positions"][t]
    said = scores.size > 0 and not np.isnan(scores).all()
    names = arrays["position_names"].tolist()
    return People(
        time_s=float(arrays["time_s"][t]),
        keypoints=arrays["keypoints"][part],
        clothing=arrays["clothing"][part],
        trunk=arrays["trunk"][part],
        doubt=arrays["doubt"][part],
        top=None if np.isnan(top) else top,
        top_of=int(arrays["top_of"][t]),
        pair=bool(arrays["pair"][t]),
        positions=dict(zip(names, scores.tolist(), strict=True)) if said else None,
    )
