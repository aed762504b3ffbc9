"""What a person said, as samples to learn from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
import pandas as pd

from pipeline.geometry import swap_columns
from pipeline.library import Library
from pipeline.positions.model import inputs, log_votes, looks_votes
from pipeline.positions.states import STATES, exchanged, joint
from pipeline.positions.windows import GRID_S, on_grid
from pipeline.settings import LearningSettings, PositionsSettings
from pipeline.timeline import UNKNOWN, Segment, State, Timeline, coarse

VOUCHED = (State.ACCEPTED, State.CORRECTED)


@dataclass(frozen=True, eq=False)
class SeenBout:
    """A bout of which a person has accepted or corrected something.

    Attributes
    ----------
    id, title : str
    features : DataFrame
        As from `pipeline.geometry.features`; athletes as the person named them.
    timeline : Timeline
        Only accepted and corrected segments.
    whole : float
        Part of the bout's segments' time that these are, 0–1.
    scores : DataFrame or None
        The body reader's own scores of positions, where it has any.
    """

    id: str
    title: str
    features: pd.DataFrame
    timeline: Timeline
    whole: float
    scores: pd.DataFrame | None = None


def seen_bouts(library: Library) -> list[SeenBout]:
    """Return the bouts to learn from; proposals are left out of them."""
    found = []
    for bout in library.bouts():
        if not bout.reader or not bout.counts["accepted"] + bout.counts["corrected"]:
            continue
        timeline = library.timeline(bout.id)
        said = [s for s in timeline.segments if s.state in VOUCHED]
        whole_s = sum(s.duration_s for s in timeline.segments)
        features = library.features(bout.id)
        if said and len(features):
            part = sum(s.duration_s for s in said) / whole_s
            kept = Timeline(tuple(said))
            scores = library.scores(bout.id)
            found.append(SeenBout(bout.id, bout.title, features, kept, part, scores))
    return found


@dataclass(frozen=True, eq=False)
class Samples:
    """Rows for a classifier.

    Attributes
    ----------
    x : ndarray, float32, (N, inputs)
    y : ndarray of str, (N,)
        Joint states.
    bout : ndarray of int, (N,)
        Index of the bout a row is of.
    segment : ndarray of str, (N,)
        Id of the segment a row is of.
    exchanged : ndarray of bool, (N,)
        Rows in which A and B have changed names.
    votes : ndarray, (N, states)
        What the pair looks like when lifted, and what the body reader itself says, for each
        state, as logarithms, weighed as in reading.
    """

    x: np.ndarray
    y: np.ndarray
    bout: np.ndarray
    segment: np.ndarray
    exchanged: np.ndarray
    votes: np.ndarray

    def __len__(self) -> int:
        return len(self.y)

    def where(self, rows: np.ndarray) -> Samples:
        """Return some rows."""
        return Samples(*(getattr(self, column.name)[rows] for column in fields(self)))

    @classmethod
    def of(
        cls,
        bouts: Sequence[SeenBout],
        states: Sequence[str] = STATES,
        settings: LearningSettings | None = None,
    ) -> Samples:
        """Return the samples of bouts, in both naming orders of the athletes.

        Parameters
        ----------
        bouts : sequence of SeenBout
        states : sequence of str
            What the model can say; segments of other states teach nothing.
        settings : LearningSettings, optional
        """
        settings = settings or LearningSettings()
        parts = [_rows(number, bout, states, settings) for number, bout in enumerate(bouts)]
        columns = zip(*(part for pair in parts for part in pair), strict=True)
        return cls(*(np.concatenate(column) for column in columns))


Part = tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray]


def _rows(
    number: int, bout: SeenBout, states: Sequence[str], settings: LearningSettings
) -> tuple[Part, Part]:
    grid = on_grid(bout.features)
    told = [_told(bout.timeline.segments, t, states, settings.border_s) for t in grid.index]
    kept = np.array([segment is not None for segment in told], dtype=bool)
    segments = [segment for segment in told if segment is not None]
    y = np.array([joint(s.position, s.top) for s in segments], dtype=object)
    y_exchanged = np.array([exchanged(state) for state in y], dtype=object)
    ids = np.array([s.id for s in segments], dtype=object)
    numbers = np.full(len(y), number)
    swapped = swap_columns(grid)
    plain = inputs(grid).to_numpy(np.float32)[kept]
    other = inputs(swapped).to_numpy(np.float32)[kept]
    turned = None if bout.scores is None else bout.scores.rename(columns=exchanged)
    votes, votes_exchanged = (
        _votes(table[kept], scores, states)
        for table, scores in ((grid, bout.scores), (swapped, turned))
    )
    return (
        (plain, y, numbers, ids, np.zeros(len(y), bool), votes),
        (other, y_exchanged, numbers, ids, np.ones(len(y), bool), votes_exchanged),
    )


def _votes(grid: pd.DataFrame, scores: pd.DataFrame | None, states: Sequence[str]) -> np.ndarray:
    """What lift and reader say; readings made before there was a lift have no such columns."""
    settings = PositionsSettings()
    votes = settings.looks_weight * looks_votes(grid, states)
    if scores is None:
        return votes
    near = scores.reindex(grid.index, method="nearest", tolerance=GRID_S)
    return votes + settings.reader_weight * log_votes(near, states)


def _told(
    segments: Sequence[Segment], time_s: float, states: Sequence[str], border_s: float
) -> Segment | None:
    """Return the segment that is well around a time, if its state can be learnt."""
    for s in segments:
        if s.start_s + border_s <= time_s < s.end_s - border_s:
            known = coarse(s.position) != UNKNOWN and joint(s.position, s.top) in states
            return s if known else None
    return None
