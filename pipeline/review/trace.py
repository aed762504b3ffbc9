"""The height trace: what the page draws as the map of a bout."""

from __future__ import annotations

import itertools

import numpy as np


def thin(series: np.ndarray, buckets: int) -> np.ndarray:
    """Choose the samples that keep a plot's outline.

    Every bucket keeps its first sample and each row's lowest and highest one, so a short rise
    is never averaged away, however long the bout.

    Parameters
    ----------
    series : ndarray, (rows, T)
        What is drawn; NaN where unknown.
    buckets : int
        About as many as the drawing has pixels.

    Returns
    -------
    ndarray, int, (N,)
        Rising sample numbers; N <= buckets * (1 + 2 * rows), and all T when T is that small.
    """
    rows, count = series.shape
    if count <= buckets * (1 + 2 * rows):
        return np.arange(count)
    edges = np.linspace(0, count, buckets + 1).astype(int)
    kept = set(edges[:-1].tolist())
    low = np.where(np.isnan(series), np.inf, series)
    high = np.where(np.isnan(series), -np.inf, series)
    for start, end in itertools.pairwise(edges):
        kept.update((start + low[:, start:end].argmin(axis=1)).tolist())
        kept.update((start + high[:, start:end].argmax(axis=1)).tolist())
    return np.array(sorted(kept))


def swapped(times: np.ndarray, swaps: list[float]) -> np.ndarray:
    """Tell for each time whether A and B have been exchanged an odd number of times by then.

    Parameters
    ----------
    times : ndarray, (T,)
        Seconds.
    swaps : list of float
        Times from which on the two athletes were swapped.

    Returns
    -------
    ndarray, bool, (T,)
    """
    return np.searchsorted(np.sort(swaps), times, side="right") % 2 == 1
