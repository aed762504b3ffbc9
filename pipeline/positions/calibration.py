"""How sure probabilities may be: one temperature, fitted on labels that training did not see.

Source: Guo and others, *On Calibration of Modern Neural Networks*, ICML 2017.
"""

from __future__ import annotations

import numpy as np
from scipy.optimize import minimize_scalar


def tempered(probabilities: np.ndarray, temperature: float) -> np.ndarray:
    """Return probabilities (N, K) whose logarithms are divided by a temperature."""
    log = np.log(np.maximum(probabilities, 1e-9)) / temperature
    values = np.exp(log - log.max(axis=1, keepdims=True))
    return np.asarray(values / values.sum(axis=1, keepdims=True))


def outvoted(probabilities: np.ndarray, log_votes: np.ndarray) -> np.ndarray:
    """Return probabilities (N, K) multiplied by votes, given as logarithms, and normalised."""
    log = np.log(np.maximum(probabilities, 1e-9)) + log_votes
    values = np.exp(log - log.max(axis=1, keepdims=True))
    return np.asarray(values / values.sum(axis=1, keepdims=True))


def best_temperature(
    probabilities: np.ndarray, right: np.ndarray, log_votes: np.ndarray | None = None
) -> float:
    """Return the temperature with the highest likelihood of held-out labels.

    Parameters
    ----------
    probabilities : ndarray (N, K)
    right : ndarray of int (N,)
        Column of each sample's true label.
    log_votes : ndarray (N, K), optional
        What else is said of each sample, as `outvoted` takes it. The more of it is known already
        to the classifier, the less sure that one may be, or both count the same evidence twice.
    """

    def loss(log_temperature: float) -> float:
        honest = tempered(probabilities, float(np.exp(log_temperature)))
        if log_votes is not None:
            honest = outvoted(honest, log_votes)
        return float(-np.log(np.maximum(honest[np.arange(len(right)), right], 1e-12)).mean())

    return float(np.exp(minimize_scalar(loss, bounds=(-1.5, 2.5), method="bounded").x))
