"""How well a model tells bouts that were kept apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from pipeline.learning.samples import SeenBout
from pipeline.positions import PositionModel, decode
from pipeline.settings import PositionsSettings
from pipeline.timeline import Segment, Timeline
from pipeline.timeline.compare import Comparison, compare_all

SLIVER_S = 0.5
"""The usual tolerance of a border."""


@dataclass(frozen=True)
class Figures:
    """Figures on bouts kept apart.

    Attributes
    ----------
    macro_f1 : float
        Mean over the positions that occur, 0–1, weighing each position alike.
    edit : float
        Segmental edit score, 0–100.
    accuracy : float
        Share of the time told right, 0–1.
    seconds : float
        Time they were measured on.
    bouts : int
    """

    macro_f1: float
    edit: float
    accuracy: float
    seconds: float
    bouts: int

    def falls_below(self, before: Figures) -> bool:
        """Return whether macro-F1 or edit score is worse than before, beyond rounding."""
        return self.macro_f1 < before.macro_f1 - 1e-9 or self.edit < before.edit - 1e-9


def judge(
    model: PositionModel, bouts: Sequence[SeenBout], settings: PositionsSettings | None = None
) -> Figures:
    """Return the figures of what a model would propose, against what a person said.

    Parameters
    ----------
    model : PositionModel
    bouts : sequence of SeenBout
        At least one.
    settings : PositionsSettings, optional
    """
    pairs = []
    for bout in bouts:
        proposed = decode(model.predict(bout.features, bout.scores, settings), settings).segments
        pairs.append((bout.timeline, Timeline(tuple(within(proposed, bout.timeline)))))
    told: Comparison = compare_all(pairs)
    positions = told.per_position()
    return Figures(
        float(positions.loc[positions["seconds"] > 0, "f1"].mean()),
        told.edit,
        told.frame_accuracy,
        told.seconds,
        len(pairs),
    )


def within(proposed: Sequence[Segment], truth: Timeline) -> list[Segment]:
    """Return the proposal where the truth says anything; elsewhere it can't be judged.

    What only just reaches into such a stretch is a border slightly off, not another position.
    """
    kept = []
    for start_s, end_s in _stretches(truth):
        for segment in proposed:
            low, high = max(segment.start_s, start_s), min(segment.end_s, end_s)
            if high - low >= min(SLIVER_S, segment.duration_s):
                kept.append(replace(segment, start_s=low, end_s=high))
    return kept


def _stretches(truth: Timeline) -> list[tuple[float, float]]:
    joined: list[tuple[float, float]] = []
    for segment in truth.segments:
        if joined and segment.start_s - joined[-1][1] < 1e-6:
            joined[-1] = joined[-1][0], segment.end_s
        else:
            joined.append((segment.start_s, segment.end_s))
    return joined
