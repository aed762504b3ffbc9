"""Filmed bouts as a body reader reads them: errors, wrong people and exchanged names included."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from models.training.scenes.arrays_file import write_arrays
from models.training.scenes.events import find_moments
from models.training.scenes.played import Played
from pipeline.athletes import Athletes
from pipeline.bodies import BodyReader
from pipeline.errors import MatlineError
from pipeline.footage import Footage
from pipeline.overnight.chunk import read_chunk
from pipeline.overnight.reading import about_file
from pipeline.settings import Settings
from pipeline.timeline import Timeline
from pipeline.timeline.records import timeline_from_json, timeline_to_json

EXCHANGED = 1.3
"""A sample counts as exchanged if the other order fits the truth this many times better."""


@dataclass(frozen=True, eq=False)
class BoutReading:
    """One filmed bout as read, its athletes named as in the truth.

    Attributes
    ----------
    name : str
    reader : str
    times : ndarray, (T,)
    keypoints : ndarray, float32, (T, 2, 17, 3)
    top_said : ndarray, (T,)
        The reader's own probability that A is on top; NaN = nothing.
    scores : DataFrame or None
        The reader's own position scores, index ``time_s``.
    timeline : Timeline
        The truth.
    exchanged : ndarray, bool, (T,)
        Where athletes go by each other's names.
    """

    name: str
    reader: str
    times: np.ndarray
    keypoints: np.ndarray
    top_said: np.ndarray
    scores: pd.DataFrame | None
    timeline: Timeline
    exchanged: np.ndarray

    @property
    def swaps(self) -> int:
        """How often names are exchanged, there and back."""
        return int(np.abs(np.diff(self.exchanged.astype(int))).sum())

    def arrays(self) -> dict[str, np.ndarray]:
        """Return plain arrays: places to a tenth of a pixel, confidences to a hundredth."""
        places = np.round(10 * np.clip(self.keypoints[..., :2], -3000, 3000))
        points = np.concatenate([places, np.round(100 * self.keypoints[..., 2:])], axis=-1)
        found = {
            "reader": np.array(self.reader),
            "times": self.times,
            "keypoints": np.where(np.isnan(points), -32768, points).astype(np.int16),
            "top_said": self.top_said.astype(np.float32),
            "timeline": np.array(timeline_to_json(self.timeline)),
            "exchanged": self.exchanged,
        }
        if self.scores is not None:
            found["states"] = np.array(list(self.scores.columns))
            found["scores"] = self.scores.to_numpy(np.float16)
        return found

    @classmethod
    def of(cls, name: str, data: dict[str, np.ndarray]) -> BoutReading:
        """Build from what `arrays` gave."""
        points = data["keypoints"].astype(np.float32)
        points[data["keypoints"] == -32768] = np.nan
        points[..., :2] /= 10
        points[..., 2] /= 100
        times, scores = data["times"], None
        if "scores" in data:
            scores = pd.DataFrame(
                data["scores"].astype(np.float64),
                index=pd.Index(times, name="time_s"),
                columns=[str(state) for state in data["states"]],
            )
        return cls(
            name,
            str(data["reader"]),
            times,
            points,
            data["top_said"].astype(np.float64),
            scores,
            timeline_from_json(str(data["timeline"])),
            data["exchanged"],
        )


def read_films(
    films: Path, bouts: Path, reader: BodyReader, name: str, starts: str = ""
) -> Iterator[BoutReading]:
    """Read every film of a folder.

    Parameters
    ----------
    films : Path
        Folder of ``NAME.mp4`` and ``NAME.truth.npz``, as `models.training.scenes.films` writes.
    bouts : Path
        Folder of the bouts they are of.
    reader : BodyReader
    name : str
        The reader's.
    starts : str
        Only films whose name starts so.

    Raises
    ------
    MatlineError
        If there are none.
    """
    paths = sorted(films.glob(f"{starts}*.mp4"))
    if not paths:
        raise MatlineError(f"There are no films in {films}; make some with scenes bouts films.")
    for path in paths:
        yield _read(path, bouts / f"{path.stem}.npz", reader, name)


def _read(film: Path, bout: Path, reader: BodyReader, name: str) -> BoutReading:
    settings = Settings()
    info, pieces = about_file(film, settings)
    athletes = Athletes(settings.athletes)
    for piece in pieces:
        footage = Footage(info, settings.footage)
        for people in read_chunk(footage, piece, reader, settings).people:
            athletes.add(people)
    tracks = athletes.result()
    with np.load(film.with_suffix(".truth.npz"), allow_pickle=False) as stored:
        times, places = stored["times"], stored["keypoints"].astype(np.float32) / 10
    true = places[np.abs(times[None] - tracks.times[:, None]).argmin(axis=1)]
    better = _fits_exchanged(tracks.keypoints, true)
    if np.nanmean(better) > 0.5:
        tracks, better = tracks.swapped(), 1 - better
    played = Played.load(bout)
    segments = timeline_from_json(played.timeline).segments
    moments = find_moments(played.times, played.keypoints, segments)
    return BoutReading(
        film.stem,
        name,
        tracks.times,
        tracks.keypoints,
        tracks.top_said,
        tracks.positions,
        Timeline(segments, moments),
        pd.Series(better).ffill().fillna(0).to_numpy() > 0.5,
    )


def _fits_exchanged(read: np.ndarray, true: np.ndarray) -> np.ndarray:
    """1 where exchanged names fit the truth clearly better, 0 clearly worse, else NaN; (T,)."""
    off = [np.hypot(*np.moveaxis(read[:, o, :, :2] - true, -1, 0)) for o in ([0, 1], [1, 0])]
    plain, turned = (np.nanmedian(one.reshape(len(one), -1), axis=1) for one in off)
    clear = np.maximum(plain, turned) > EXCHANGED * np.minimum(plain, turned)
    return np.where(clear, (turned < plain).astype(float), np.nan)


def save_readings(readings: Sequence[BoutReading], path: Path) -> None:
    """Write readings into one file."""
    arrays = {
        f"{reading.name}@{reading.reader}/{key}": value
        for reading in readings
        for key, value in reading.arrays().items()
    }
    write_arrays(path, arrays)


def load_readings(path: Path) -> list[BoutReading]:
    """Read what `save_readings` wrote.

    Raises
    ------
    MatlineError
        If there is no such file.
    """
    if not path.is_file():
        raise MatlineError(f"There are no readings at {path}; make them with “read”.")
    found: dict[str, dict[str, np.ndarray]] = {}
    with np.load(path, allow_pickle=False) as stored:
        for key in stored.files:
            name, field = key.split("/")
            found.setdefault(name, {})[field] = stored[key]
    return [BoutReading.of(key.split("@")[0], data) for key, data in sorted(found.items())]
