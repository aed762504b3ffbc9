"""Hidden Markov chains of two states, with costs that change over time.

Costs are negative log likelihoods in nats; `stay` and `change` are symmetric in the two states,
as "kept" and "exchanged" are.
"""

from __future__ import annotations

import numpy as np


def cheapest(state: np.ndarray, stay: np.ndarray, change: np.ndarray) -> np.ndarray:
    """Return the cheapest path by Viterbi.

    Parameters
    ----------
    state : ndarray, (T, 2)
        Cost of each state at each sample.
    stay, change : ndarray, (T,)
        Cost of going from sample t − 1 to t in the same, or in the other, state; entry 0
        is not read.

    Returns
    -------
    ndarray of int, (T,)
    """
    count = len(state)
    if count == 0:
        return np.zeros(0, dtype=int)
    came_from = np.zeros((count, 2), dtype=int)
    cost = state[0].astype(float)
    for t in range(1, count):
        kept, moved = cost + stay[t], cost[::-1] + change[t]
        came_from[t] = np.where(kept <= moved, (0, 1), (1, 0))
        cost = np.minimum(kept, moved) + state[t]
    path = np.zeros(count, dtype=int)
    path[-1] = int(cost.argmin())
    for t in range(count - 1, 0, -1):
        path[t - 1] = came_from[t, path[t]]
    return path


def path_cost(path: np.ndarray, state: np.ndarray, stay: np.ndarray, change: np.ndarray) -> float:
    """Return what a path costs; parameters as for `cheapest`."""
    steps = np.where(np.diff(path) == 0, stay[1:], change[1:]).sum() if len(path) else 0.0
    return float(state[np.arange(len(path)), path].sum() + steps)


def posterior(state: np.ndarray, stay: np.ndarray, change: np.ndarray) -> np.ndarray:
    """Return the probability of each state at each sample, (T, 2), by forward–backward.

    Parameters as for `cheapest`.
    """
    count = len(state)
    forward, backward = np.zeros((count, 2)), np.zeros((count, 2))
    if count == 0:
        return forward
    forward[0] = -state[0]
    for t in range(1, count):
        reached = np.logaddexp(forward[t - 1] - stay[t], forward[t - 1][::-1] - change[t])
        forward[t] = reached - state[t]
        forward[t] -= forward[t].max()
    for t in range(count - 2, -1, -1):
        onward = backward[t + 1] - state[t + 1]
        backward[t] = np.logaddexp(onward - stay[t + 1], onward[::-1] - change[t + 1])
        backward[t] -= backward[t].max()
    both = forward + backward
    both = np.exp(both - both.max(axis=1, keepdims=True))
    return both / both.sum(axis=1, keepdims=True)
