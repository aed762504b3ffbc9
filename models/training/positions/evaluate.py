"""How well timelines come out, on bouts that training never saw."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from models.training.positions.data import StoredBout, labels_at
from models.training.scenes.views import ReaderErrors, view
from pipeline.geometry import features
from pipeline.moments import find_moments
from pipeline.positions import PositionModel, by_position, decode
from pipeline.timeline import Timeline, coarse
from pipeline.timeline.compare import Comparison, compare_all, expected_calibration_error

READERS: dict[str, ReaderErrors] = {
    "exact keypoints": ReaderErrors(),
    "3 cm noise": ReaderErrors(noise_m=0.03),
    "8 cm noise": ReaderErrors(noise_m=0.08),
    "pair reader": ReaderErrors(misread=1.0),
}


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
    """

    reader: str
    comparison: Comparison
    calibration_error: float
    samples: int

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
            **{f"{kind} F1": c.moments[kind].f1 for kind in ("rise", "lift") if kind in c.moments},
        }


def evaluate(
    model: PositionModel, bouts: Sequence[StoredBout], rate_hz: float = 5.0, seed: int = 1
) -> list[Evaluation]:
    """Judge a model on stored bouts, each through one camera, under each of `READERS`.

    Parameters
    ----------
    model : PositionModel
    bouts : sequence of StoredBout
    rate_hz : float
    seed : int
        Of cameras and errors; cameras are the same under every kind of reading.
    """
    return [
        judge(name, model, _readings(bouts, errors, rate_hz, seed))
        for name, errors in READERS.items()
    ]


def judge(
    reader: str,
    model: PositionModel,
    readings: Iterator[tuple[Timeline, np.ndarray, np.ndarray]],
) -> Evaluation:
    """Judge a model on readings: truth, times (T,), keypoints (T, 2, 17, 3)."""
    pairs: list[tuple[Timeline, Timeline]] = []
    confidence: list[np.ndarray] = []
    correct: list[np.ndarray] = []
    for truth, times, keypoints in readings:
        table = features(times, keypoints)
        probabilities = model.predict(table)
        pairs.append((truth, propose(table, probabilities)))
        positions = by_position(probabilities)
        true = pd.Series(labels_at(truth, times)).map(coarse).to_numpy()
        confidence.append(positions.max(axis=1).to_numpy())
        correct.append(positions.idxmax(axis=1).to_numpy() == true)
    sure, right = np.concatenate(confidence), np.concatenate(correct)
    error = expected_calibration_error(sure, right)
    return Evaluation(reader, compare_all(pairs), error, len(sure))


def propose(table: pd.DataFrame, probabilities: pd.DataFrame) -> Timeline:
    """Return the timeline that the pipeline proposes."""
    segments = decode(probabilities).segments
    return Timeline(segments, tuple(find_moments(table, segments)))


def summary(evaluations: Sequence[Evaluation]) -> str:
    """Return one line a reader, then the details of each."""
    table = pd.DataFrame({e.reader: e.row() for e in evaluations}).T
    details = "\n\n".join(
        f"== {e.reader} ({e.samples} samples)\n{e.comparison}" for e in evaluations
    )
    return f"{table.round(3).to_string()}\n\n{details}"


def _readings(
    bouts: Sequence[StoredBout], errors: ReaderErrors, rate_hz: float, seed: int
) -> Iterator[tuple[Timeline, np.ndarray, np.ndarray]]:
    for number, bout in enumerate(bouts):
        seen = view(bout, np.random.default_rng((seed, number)), errors, rate_hz)
        yield bout.timeline, seen.times, seen.keypoints
