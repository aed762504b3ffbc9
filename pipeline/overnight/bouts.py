"""Where the bouts are in footage that holds several: a camera left running beside a mat."""

from __future__ import annotations

import numpy as np

from pipeline.overnight.reading import Reading
from pipeline.settings import OvernightSettings

Span = tuple[float, float]

_APART = "apart"


def find_bouts(reading: Reading, settings: OvernightSettings | None = None) -> list[Span]:
    """Return the stretches ``[start_s, end_s)`` in which two people are at it.

    A bout goes on through stops shorter than `bout_pause_s`; shorter stretches of action than
    `bout_least_s` (people who meet on their way) are none.

    Parameters
    ----------
    reading : Reading
        Of a whole file.
    settings : OvernightSettings, optional

    Returns
    -------
    list of (float, float)
        In order. Empty if nothing is going on.
    """
    settings = settings or OvernightSettings()
    times = reading.times[engaged(reading)]
    if len(times) == 0:
        return []
    cuts = np.flatnonzero(np.diff(times) > settings.bout_pause_s) + 1
    margin = settings.bout_margin_s
    return [
        (max(0.0, float(part[0]) - margin), float(part[-1]) + margin)
        for part in np.split(times, cuts)
        if part[-1] - part[0] >= settings.bout_least_s
    ]


def engaged(reading: Reading) -> np.ndarray:
    """Return at which samples two people are seen and more likely at it than apart, bool (T,)."""
    seen = np.isfinite(reading.keypoints[..., 0]).any(axis=2).all(axis=1)
    apart = reading.probabilities[_APART].to_numpy() if len(reading.times) else np.zeros(0)
    return seen & (apart < 0.5)
