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


def best_temperature(probabilities: np.ndarray, right: np.ndarray) -> float:
    """Return the temperature with the highest likelihood of held-out labels.

    Parameters
    ----------
    probabilities : ndarray (N, K)
    right : ndarray of int (N,)
        Column of each sample's true label.
    """

    def loss(log_temperature: float) -> float:
        honest = tempered(probabilities, float(np.exp(log_temperature)))
        return float(-np.log(np.maximum(honest[np.arange(len(right)), right], 1e-12)).mean())

    return float(np.exp(minimize_scalar(loss, bounds=(-1.5, 1.5), method="bounded").x))
