"""Segments that the rest of the bouts contradict: worth a second look, not wrong by that.

Confident learning (Northcutt, Jiang & Chuang, JAIR 70, 2021): a sample is suspect if another
label is more likely than that label usually is where it is right. About half of what such a
detector flags is a label error (Northcutt, Athalye & Mueller, NeurIPS Datasets and Benchmarks,
2021), so these are questions to a person.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from pipeline.learning.samples import Samples, SeenBout
from pipeline.positions.states import exchanged
from pipeline.timeline import Segment

COLUMNS = ("bout", "title", "segment", "start_s", "end_s", "said", "rather", "share")


def suspect_samples(labels: np.ndarray, probabilities: np.ndarray) -> np.ndarray:
    """Return which label each sample confidently has instead of its own.

    Parameters
    ----------
    labels : ndarray of int, (N,)
        Columns of `probabilities`.
    probabilities : ndarray, (N, K)
        From models that had not seen the sample.

    Returns
    -------
    ndarray of int, (N,)
        A column, or −1 where the label is not in doubt.
    """
    count = probabilities.shape[1]
    thresholds = np.full(count, np.inf)
    for label in np.unique(labels):
        thresholds[label] = probabilities[labels == label, label].mean()
    confident = np.where(probabilities >= thresholds - 1e-6, probabilities, -np.inf)
    rather = confident.argmax(axis=1)
    sure = np.isfinite(confident.max(axis=1)) & (rather != labels)
    return np.where(sure, rather, -1)


def suspect_segments(
    bouts: Sequence[SeenBout],
    samples: Samples,
    probabilities: np.ndarray,
    states: Sequence[str],
    least_share: float,
) -> pd.DataFrame:
    """Return segments of which most samples confidently are something else.

    Parameters
    ----------
    bouts : sequence of SeenBout
        That the samples are of.
    samples : Samples
    probabilities : ndarray, (N, states)
        From models that had not seen the bout.
    states : sequence of str
    least_share : float
        Part of a segment's samples that must agree on the other state.

    Returns
    -------
    DataFrame
        Columns `COLUMNS`; said and rather are joint states, share is the part of the samples; the
        largest share first.
    """
    place = {state: number for number, state in enumerate(states)}
    labels = np.array([place[state] for state in samples.y])
    rather = suspect_samples(labels, probabilities)
    names = np.array([*states, ""], dtype=object)[rather]
    told = [
        exchanged(name) if name and turned else name
        for name, turned in zip(names, samples.exchanged, strict=True)
    ]
    table = pd.DataFrame({"segment": samples.segment, "rather": told})
    shares = pd.crosstab(table["segment"], table["rather"], normalize="index")
    shares = shares.drop(columns="", errors="ignore")
    if shares.empty:
        return pd.DataFrame(columns=list(COLUMNS))
    most = pd.DataFrame({"rather": shares.idxmax(axis=1), "share": shares.max(axis=1)})
    flagged = most[most["share"] >= least_share].to_dict("index")
    rows = [
        (b.id, b.title, s.id, s.start_s, s.end_s, said(s), *flagged[s.id].values())
        for b in bouts
        for s in b.timeline.segments
        if s.id in flagged
    ]
    found = pd.DataFrame(rows, columns=list(COLUMNS))
    return found.sort_values("share", ascending=False, ignore_index=True)


def said(segment: Segment) -> str:
    """Return a segment's label with who is on top: ``"mount/A"``."""
    return f"{segment.position}/{segment.top}" if segment.top else segment.position
