"""The best path through states that last: a Viterbi search with explicit durations.

A semi-Markov model (Yu, "Hidden semi-Markov models", Artificial Intelligence 174, 2010) whose
durations are a minimum plus an exponentially distributed rest. The rest is memoryless, so the
search costs samples × states², however long a stretch is.
"""

from __future__ import annotations

import numpy as np


def best_path(
    evidence: np.ndarray,
    step_s: np.ndarray,
    log_transition: np.ndarray,
    minimum_s: np.ndarray,
    extra_s: np.ndarray,
) -> list[tuple[int, int]]:
    """Cut samples into stretches of one state each, with the highest total score.

    Parameters
    ----------
    evidence : ndarray, (T, S)
        Log weight of each state at each sample.
    step_s : ndarray, (T,)
        Seconds each sample stands for.
    log_transition : ndarray, (S, S)
        Log probability of column after row; -inf where a state can't follow.
    minimum_s, extra_s : ndarray, (S,)
        Shortest duration, and mean of the rest.

    Returns
    -------
    list of (first sample, state)
        In order; the first stretch starts at sample 0.

    Notes
    -----
    A stretch of state s scores its evidence minus ``rest / extra_s[s]``, its rest being what
    exceeds the minimum; every stretch but the first adds its transition and ``-log(extra_s[s])``.
    A film may begin or end in the middle of a position: the first stretch has no minimum (all of
    it is rest), and the last may be shorter than its minimum (then its rest is 0).
    """
    samples, states = evidence.shape
    if samples == 0:
        return []
    total = np.vstack([np.zeros(states), np.cumsum(evidence, axis=0)])
    clock = np.concatenate([[0.0], np.cumsum(step_s)])
    latest = _latest_starts(clock, minimum_s)
    every = np.arange(states)

    enter = np.full((samples, states), -np.inf)
    before = np.zeros((samples, states), dtype=int)
    began = np.zeros((samples, states), dtype=int)
    score = evidence[0] - step_s[0] / extra_s
    for t in range(1, samples):
        arriving = score[:, None] + log_transition
        before[t] = arriving.argmax(axis=0)
        enter[t] = arriving[before[t], every] - np.log(extra_s)
        score = score + evidence[t] - step_s[t] / extra_s
        began[t] = began[t - 1]
        for back in range(int((latest[t] - latest[t - 1]).max())):
            start = latest[t] - back
            ripe = (start > latest[t - 1]) & (start >= 1)
            rest_s = clock[t + 1] - clock[start] - minimum_s
            fresh = enter[start, every] + total[t + 1] - total[start, every] - rest_s / extra_s
            better = ripe & (fresh > score)
            score = np.where(better, fresh, score)
            began[t] = np.where(better, start, began[t])

    best, state = score.max(), int(score.argmax())
    first = int(began[-1, state])
    for start in range(max(1, int(latest[-1].min()) + 1), samples):
        young = np.where(latest[-1] < start, enter[start] + total[-1] - total[start], -np.inf)
        if young.max() > best:
            best, state, first = young.max(), int(young.argmax()), start
    path = [(first, state)]
    while first > 0:
        state = int(before[first, state])
        first = int(began[first - 1, state])
        path.append((first, state))
    return path[::-1]


def _latest_starts(clock: np.ndarray, minimum_s: np.ndarray) -> np.ndarray:
    """Latest sample at which a stretch reaching its minimum at each sample may start, (T, S)."""
    ends = clock[1:, None] - minimum_s[None, :] + 1e-9
    starts = np.searchsorted(clock, ends.ravel(), side="right").reshape(ends.shape) - 1
    return np.minimum(starts, np.arange(len(clock) - 1)[:, None])
