"""A scripted corrector who knows the truth of bouts, and what it takes to be one.

A bout is as it was read, with its true timeline and, where there are any, its true skeletons:
those say where the reader took one athlete for the other, which a person sees on the page.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from pipeline.learning import SeenBout, seen_bouts
from pipeline.library import Library
from pipeline.outputs import segments_from_csv
from pipeline.outputs.coco import read_coco
from pipeline.timeline import Correction, Timeline, new_id
from pipeline.timeline.records import timeline_from_json

EXCHANGED_S = 2.0
"""Athletes taken for each other for less than about half of this are left: nobody sees it."""


@dataclass(frozen=True, eq=False)
class KnownBout:
    """A bout that was read, and what truly happened.

    Attributes
    ----------
    title : str
    times, keypoints : ndarray
    features, probabilities : DataFrame
    scores : DataFrame or None
    proposal, truth : Timeline
    exchanges : tuple of float
        Seconds from which on A and B are to be exchanged, again and again.
    """

    title: str
    times: np.ndarray
    keypoints: np.ndarray
    features: pd.DataFrame
    probabilities: pd.DataFrame
    scores: pd.DataFrame | None
    proposal: Timeline
    truth: Timeline
    exchanges: tuple[float, ...] = ()

    def put(self, library: Library) -> str:
        """Put the bout into a library as it was read; return its id."""
        length_s = self.truth.segments[-1].end_s
        bout = library.add_bout(Path(f"{self.title}.mp4"), length_s, title=self.title)
        library.save_reading(
            bout.id, self.times, self.keypoints, self.features, self.probabilities,
            self.proposal, scores=self.scores, reader="known",
        )  # fmt: skip
        return bout.id

    def correct(self, library: Library, bout_id: str) -> None:
        """Put right who is who, then say every segment, as a person would on the page."""
        for from_s in self.exchanges:
            library.append(bout_id, Correction("swap_athletes", {"from_s": from_s}))
        for s in self.truth.segments:
            arguments = {"start_s": s.start_s, "end_s": s.end_s, "position": s.position}
            ids = {"top": s.top, "id": new_id(), "rest_id": new_id()}
            library.append(bout_id, Correction("add_segment", arguments | ids))
        bounds = {"start_s": self.truth.segments[0].start_s, "end_s": self.truth.segments[-1].end_s}
        library.append(bout_id, Correction("set_bounds", bounds))


def corrected(bouts: list[KnownBout], library: Library) -> list[SeenBout]:
    """Return bouts as a person who corrected all of them leaves them."""
    for bout in bouts:
        bout.correct(library, bout.put(library))
    return seen_bouts(library)


@dataclass(frozen=True, eq=False)
class Truth:
    """What truly happened in a film.

    Attributes
    ----------
    timeline : Timeline
    times : ndarray, (T,)
    keypoints : ndarray, (T, 2, 17, 2)
        Pixels; A before B.
    """

    timeline: Timeline
    times: np.ndarray
    keypoints: np.ndarray

    @classmethod
    def beside(cls, film: Path) -> Truth | None:
        """Read what lies beside a film, as both commands that film bouts write it, if it does."""
        packed, table = film.with_suffix(".truth.npz"), film.with_suffix(".csv")
        if packed.exists():
            with np.load(packed, allow_pickle=False) as stored:
                timeline = timeline_from_json(str(stored["timeline"]))
                return cls(timeline, stored["times"], stored["keypoints"][..., :2] / 10)
        if not table.exists():
            return None
        pictures = [p for p in read_coco(film.with_suffix(".keypoints.json")) if len(p.bodies) == 2]
        return cls(
            Timeline(tuple(segments_from_csv(table.read_text(encoding="utf-8")))),
            np.array([p.time_s for p in pictures]),
            np.stack([[body.keypoints[:, :2] for body in p.bodies] for p in pictures]),
        )


def filmed_bouts(folder: Path, library: Library) -> list[KnownBout]:
    """Return the bouts of a library whose films, with their truth, lie in a folder."""
    return [
        filmed_bout(library, bout.id, truth)
        for bout in library.bouts()
        if bout.reader and (truth := Truth.beside(folder / bout.footage.name))
    ]


def filmed_bout(library: Library, bout_id: str, truth: Truth) -> KnownBout:
    """Return one bout that was filmed and read."""
    times, keypoints = library.keypoints(bout_id, as_read=True)
    return KnownBout(
        library.bout(bout_id).title,
        times,
        keypoints,
        library.features(bout_id, as_read=True),
        library.probabilities(bout_id),
        library.scores(bout_id),
        library.proposal(bout_id),
        truth.timeline,
        tuple(exchanges(times, keypoints, truth)),
    )


def exchanges(times: np.ndarray, keypoints: np.ndarray, truth: Truth) -> Iterator[float]:
    """Yield when to exchange A and B, so that they are who they truly are.

    Parameters
    ----------
    times, keypoints : ndarray
        As read.
    truth : Truth
    """
    true = truth.keypoints[np.abs(times[:, None] - truth.times).argmin(axis=1)]
    apart = [_far(keypoints[..., :2] - true[:, order]) for order in ([0, 1], [1, 0])]
    for_it = pd.Series(apart[0] - apart[1], index=pd.to_timedelta(times, unit="s"))
    wrong = (for_it.rolling(f"{EXCHANGED_S}s", center=True).median().ffill() > 0).to_numpy()
    turns = np.flatnonzero(np.diff(np.concatenate([[False], wrong]).astype(int)))
    yield from times[turns].tolist()


def _far(difference: np.ndarray) -> np.ndarray:
    known = np.isfinite(difference).all(axis=-1)
    distances = np.where(known, np.linalg.norm(difference, axis=-1), 0.0)
    seen = known.sum(axis=(1, 2))
    return np.where(seen, distances.sum(axis=(1, 2)) / np.maximum(seen, 1), np.nan)
