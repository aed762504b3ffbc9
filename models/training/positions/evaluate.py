"""How well timelines come out, on bouts that training never saw."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import pandas as pd

from models.training.positions.data import StoredBout, labels_at
from models.training.positions.readings import BoutReading
from models.training.scenes.views import ReaderErrors, view
from pipeline.geometry import features
from pipeline.moments import elevation_outcomes, find_moments
from pipeline.moments.outcomes import ELEVATIONS, link_outcomes
from pipeline.positions import PositionModel, by_position, decode
from pipeline.settings import MomentsSettings
from pipeline.timeline import Timeline, coarse
from pipeline.timeline.compare import Comparison, compare_all, expected_calibration_error

WITHIN_S = MomentsSettings().outcome_s

READERS: dict[str, ReaderErrors] = {
    "exact keypoints": ReaderErrors(),
    "3 cm noise": ReaderErrors(noise_m=0.03),
    "8 cm noise": ReaderErrors(noise_m=0.08),
    "misread": ReaderErrors(misread=1.0),
}
"""Errors laid over true keypoints; the last are those measured of the pair reader."""


class Read(NamedTuple):
    """A bout as read: truth, times (T,), keypoints (T, 2, 17, 3), the reader's own scores."""

    truth: Timeline
    times: np.ndarray
    keypoints: np.ndarray
    scores: pd.DataFrame | None = None


@dataclass(frozen=True)
class Evaluation:
    """Figures under one kind of reading.

    Attributes
    ----------
    reader : str
    comparison : Comparison
    calibration_error : float
        Expected calibration error of position probabilities over all samples.
    samples : int
    given : Comparison
        Of the moments that are found if the true segments are given.
    led : DataFrame
        How often coming up led to a sweep or back, in truth and as proposed.
    """

    reader: str
    comparison: Comparison
    calibration_error: float
    samples: int
    given: Comparison
    led: pd.DataFrame

    def row(self) -> dict[str, float]:
        """Return the headline figures."""
        c = self.comparison
        return {
            "frame accuracy": c.frame_accuracy,
            "edit": c.edit,
            **{f"F1@{round(100 * k)}": value for k, value in c.f1.items()},
            "top": c.top_accuracy,
            "calibration error": self.calibration_error,
            "corrections/min": c.corrections_per_minute,
            **{f"{kind} F1": c.moments[kind].f1 for kind in ELEVATIONS if kind in c.moments},
            **{
                f"{kind} F1 given": self.given.moments[kind].f1
                for kind in ELEVATIONS
                if kind in self.given.moments
            },
        }


def evaluate(
    model: PositionModel,
    bouts: Sequence[StoredBout],
    rate_hz: float = 5.0,
    seed: int = 1,
    readings: Sequence[BoutReading] = (),
) -> list[Evaluation]:
    """Judge a model on stored bouts, each through one camera, under each of `READERS`.

    Parameters
    ----------
    model : PositionModel
    bouts : sequence of StoredBout
    rate_hz : float
    seed : int
        Of cameras and errors; cameras are the same under every kind of reading.
    readings : sequence of BoutReading
        Filmed bouts as read, judged apart, reader by reader.
    """
    judged = [
        judge(name, model, views(bouts, errors, rate_hz, seed)) for name, errors in READERS.items()
    ]
    for reader in sorted({reading.reader for reading in readings}):
        own = [r for r in readings if r.reader == reader]
        read = (Read(r.timeline, r.times, r.keypoints, r.scores) for r in own)
        judged.append(judge(f"as read: {reader}", model, read))
    return judged


@dataclass(frozen=True)
class Judged:
    """One bout as read and proposed.

    Attributes
    ----------
    truth, proposal : Timeline
    given : Timeline
        Moments that are found if the true segments are given.
    confidence : ndarray, (T,)
        Of the likeliest position at each sample.
    correct : ndarray, bool, (T,)
    """

    truth: Timeline
    proposal: Timeline
    given: Timeline
    confidence: np.ndarray
    correct: np.ndarray


def judge(reader: str, model: PositionModel, read: Iterable[Read]) -> Evaluation:
    """Judge a model on bouts as read."""
    return pooled(reader, [judge_bout(model, bout) for bout in read])


def judge_bout(model: PositionModel, read: Read) -> Judged:
    """Propose a timeline for a bout as read."""
    truth, times, keypoints, scores = read
    table = features(times, keypoints)
    probabilities = model.predict(table, scores)
    positions = by_position(probabilities)
    true = pd.Series(labels_at(truth, times)).map(coarse).to_numpy()
    return Judged(
        truth,
        propose(table, probabilities),
        Timeline(truth.segments, tuple(find_moments(table, truth.segments))),
        positions.max(axis=1).to_numpy(),
        positions.idxmax(axis=1).to_numpy() == true,
    )


def pooled(reader: str, bouts: Sequence[Judged]) -> Evaluation:
    """Return the figures of many bouts, whichever model each was judged by."""
    pairs = [(bout.truth, bout.proposal) for bout in bouts]
    given = compare_all((bout.truth, bout.given) for bout in bouts)
    sure = np.concatenate([bout.confidence for bout in bouts])
    right = np.concatenate([bout.correct for bout in bouts])
    error = expected_calibration_error(sure, right)
    return Evaluation(reader, compare_all(pairs), error, len(sure), given, _led(pairs))


def _led(pairs: Sequence[tuple[Timeline, Timeline]]) -> pd.DataFrame:
    """How many rises and lifts there were, and what they led to, in truth and as proposed."""
    found = {}
    for column, name in enumerate(("true", "proposed")):
        tables = [
            elevation_outcomes(link_outcomes(pair[column].moments, WITHIN_S)) for pair in pairs
        ]
        counts = pd.concat(tables).groupby("kind").sum()
        found[name] = counts[["count", "sweep", "back_taken", "nothing"]]
    return pd.concat(found, axis=1).fillna(0).astype(int)


def propose(table: pd.DataFrame, probabilities: pd.DataFrame) -> Timeline:
    """Return the timeline that the pipeline proposes."""
    segments = decode(probabilities).segments
    return Timeline(segments, tuple(find_moments(table, segments)))


def summary(evaluations: Sequence[Evaluation]) -> str:
    """Return one line a reader, then the details of each."""
    table = pd.DataFrame({e.reader: e.row() for e in evaluations}).T
    details = "\n\n".join(
        f"== {e.reader} ({e.samples} samples)\n{e.comparison}\n\n"
        f"what coming up led to within {WITHIN_S:g} s:\n{e.led.to_string()}"
        for e in evaluations
    )
    return f"{table.round(3).to_string()}\n\n{details}"


def views(
    bouts: Sequence[StoredBout], errors: ReaderErrors, rate_hz: float, seed: int
) -> Iterator[Read]:
    """See each bout through one camera."""
    for number, bout in enumerate(bouts):
        seen = view(bout, np.random.default_rng((seed, number)), errors, rate_hz)
        yield Read(bout.timeline, seen.times, seen.keypoints)
