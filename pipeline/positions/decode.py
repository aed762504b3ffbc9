"""Probabilities → segments: what happened, from when to when, and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd

from pipeline.errors import MatlineError
from pipeline.positions.states import by_position, top_of
from pipeline.positions.tables import grammar
from pipeline.positions.viterbi import best_path
from pipeline.settings import PositionsSettings
from pipeline.timeline import BY_KEY, UNKNOWN, Segment, coarse

LEAST = 1e-4
"""Floor of a probability: one sample may never rule a position out."""


@dataclass(frozen=True)
class Border:
    """Where one segment ends and the next begins.

    Attributes
    ----------
    time_s : float
    confidence : float
        Chance that the border is at most ``PositionsSettings.border_s`` off, given that the
        segments on both sides are right.
    """

    time_s: float
    confidence: float


@dataclass(frozen=True)
class Decoding:
    """Segments in order without holes, and the borders between them (one fewer)."""

    segments: tuple[Segment, ...]
    borders: tuple[Border, ...]


def decode(probabilities: pd.DataFrame, settings: PositionsSettings | None = None) -> Decoding:
    """Turn probabilities into segments.

    Parameters
    ----------
    probabilities : DataFrame, index = time in seconds, columns = joint states or positions
        As `PositionModel.predict` gives them; any sampling rate, also an uneven one.
    settings : PositionsSettings, optional

    Returns
    -------
    Decoding
        From the first sample to the end of the last. A segment's confidence is the mean
        probability of what it says; doubt and holes in the footage become ``unknown``.

    Raises
    ------
    MatlineError
        If times don't increase, a column is no position, or a value is no probability.
    """
    settings = settings or PositionsSettings()
    _check(probabilities)
    if probabilities.empty:
        return Decoding((), ())
    times = probabilities.index.to_numpy(dtype=float)
    values = probabilities.to_numpy(dtype=float)
    step = float(np.median(np.diff(times))) if len(times) > 1 else settings.evidence_s
    holes = np.flatnonzero(np.diff(times) > settings.gap_s) + 1
    segments: list[Segment] = []
    borders: list[Border] = []
    for part in np.split(np.arange(len(times)), holes):
        if segments:
            start, end = segments[-1].end_s, float(times[part[0]])
            segments.append(Segment(start, end, UNKNOWN, confidence=0.0))
            borders += [Border(start, 1.0), Border(end, 1.0)]
        more = _decode_part(times[part], values[part], list(probabilities.columns), step, settings)
        segments += more.segments
        borders += more.borders
    return Decoding(tuple(segments), tuple(borders))


def _check(probabilities: pd.DataFrame) -> None:
    times = probabilities.index.to_numpy(dtype=float)
    if not np.all(np.isfinite(times)) or np.any(np.diff(times) <= 0):
        raise MatlineError("Probabilities: times must be finite and increase from row to row.")
    for column in probabilities.columns:
        if coarse(str(column)) not in BY_KEY:
            raise MatlineError(f"Probabilities: “{column}” is not a position; rename the column.")
    values = probabilities.to_numpy(dtype=float)
    if not np.all((values >= 0) & (values <= 1 + 1e-6)):
        raise MatlineError("Probabilities: every value must be between 0 and 1, none missing.")


def _decode_part(
    times: np.ndarray,
    values: np.ndarray,
    states: list[str],
    step: float,
    settings: PositionsSettings,
) -> Decoding:
    edges = _edges(times, step)
    step_s = np.diff(edges)
    rules = grammar((*states, UNKNOWN), settings.rare)
    doubt = _doubt(values, states, settings.doubt)
    log_p = np.log(np.maximum(np.column_stack([values, doubt]), LEAST))
    evidence = log_p * (step_s / settings.evidence_s)[:, None]
    path = best_path(evidence, step_s, rules.log_transition, rules.minimum_s, rules.extra_s)

    bounds = [first for first, _ in path] + [len(times)]
    cuts = [edges[0]]
    borders = []
    for (start, middle, end), ((_, left), (_, right)) in zip(
        zip(bounds, bounds[1:], bounds[2:], strict=False), pairwise(path), strict=True
    ):
        lead = (evidence[:, left] - evidence[:, right])[start:end]
        time_s = _refined(times, log_p[:, left] - log_p[:, right], middle)
        borders.append(Border(time_s, _border_confidence(lead, edges[start:end], time_s, settings)))
        cuts.append(time_s)
    cuts.append(edges[-1])

    segments = []
    for (first, state), last, span in zip(path, bounds[1:], pairwise(cuts), strict=True):
        known = state < len(states)
        said = values[first:last, state] if known else values[first:last].max(axis=1)
        label = rules.states[state]
        segments.append(
            Segment(
                float(span[0]),
                float(span[1]),
                coarse(label),
                top_of(label),
                confidence=float(np.clip(said.mean(), 0, 1)),
            )
        )
    return Decoding(tuple(segments), tuple(borders))


def _doubt(values: np.ndarray, states: list[str], most: float) -> np.ndarray:
    """Weight of ``unknown`` at each sample, (T,): nothing where one position is certain.

    Whoever is on top: a clear position in which names jump is not unknown.
    """
    surest = by_position(pd.DataFrame(values, columns=states)).max(axis=1).to_numpy()
    return most * np.clip((1 - surest) / (1 - most), 0, 1)


def _edges(times: np.ndarray, step: float) -> np.ndarray:
    """Borders between what each sample stands for, (T + 1,): halfway, from the first sample on."""
    middles = (times[1:] + times[:-1]) / 2
    return np.concatenate([times[:1], middles, times[-1:] + step])


def _refined(times: np.ndarray, lead: np.ndarray, middle: int) -> float:
    """Time between two samples at which the left state's lead over the right one is gone."""
    before, after = lead[middle - 1], lead[middle]
    share = before / (before - after) if before > 0 > after else 0.5
    # Never onto a sample: each sample must stay in the segment that was decided for it.
    share = float(np.clip(share, 0.05, 0.95))
    return float(times[middle - 1] + share * (times[middle] - times[middle - 1]))


def _border_confidence(
    lead: np.ndarray, edges: np.ndarray, time_s: float, settings: PositionsSettings
) -> float:
    """Posterior mass of cuts near the chosen one, all cuts between the two segments' ends.

    A cut before sample k leaves the samples before it to the left state: its log weight is the
    sum of their leads.
    """
    log_weight = np.cumsum(lead)[:-1]
    weight = np.exp(log_weight - log_weight.max())
    near = np.abs(edges[1:] - time_s) <= settings.border_s
    return float(weight[near].sum() / weight.sum())
