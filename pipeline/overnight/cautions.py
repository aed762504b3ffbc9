"""What seems wrong with the footage itself, so that nobody wonders about its reading."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from pipeline.bodies import COCO_KEYPOINTS
from pipeline.footage.watch import CUT_OFF
from pipeline.overnight.reading import Reading
from pipeline.timeline import clock

_STRETCHED = 0.8
"""Cosine of the angle between trunk and legs from which a body is stretched out."""

_LEGS = 0.9
"""Trunk lengths that hips and ankles of a stretched body are apart; two where nothing is
foreshortened (Drillis & Contini as tabulated in Winter, from memory)."""

_TOWARDS = 0.7
"""Cosine of 45°: stretched bodies point to the nearest side of the picture."""

_LEAST_S = 1.5
"""Seconds in which both are stretched the same way before anything is said: who stands does so for
longer; two who lie like that, chest on chest, did for 1.2 s in our own bouts."""

_SHARE = 0.7
"""Share of that time that must point to one side; time in which one stands upright whom alone the
reader found speaks against it too."""

_LIES = {
    "left": "on its side: turn it a quarter to the left",
    "right": "on its side: turn it a quarter to the right",
    "over": "upside down: turn it over",
}


def cautions(reading: Reading) -> Iterator[str]:
    """Yield what a person should know of a bout's footage, a sentence each."""
    for gap in reading.gaps:
        if gap.reason == CUT_OFF:
            yield f"Cut off at {clock(gap.start_s)}: the file states {clock(gap.end_s)}."
    turn = turned(reading.times, reading.keypoints)
    if turn:
        yield f"The picture seems to lie {_LIES[turn]} with a video program and read it again."


def missing_s(reading: Reading) -> float:
    """Return the seconds without good pictures, not counting what was cut off."""
    return sum(gap.end_s - gap.start_s for gap in reading.gaps if gap.reason != CUT_OFF)


def turned(times: np.ndarray, keypoints: np.ndarray) -> str:
    """Return how to turn the picture so that people stand upright; empty if they do.

    Two people who stand are stretched out, both the same way: down, if the camera was held right.
    People who lie are stretched out too, but seldom both the same way, and not always to one side.

    Parameters
    ----------
    times : ndarray, (T,)
    keypoints : ndarray, (T, 2, 17, 3)

    Returns
    -------
    {"", "left", "right", "over"}
    """
    shoulders, hips, ankles = (_middle(keypoints, name) for name in ("shoulder", "hip", "ankle"))
    trunk, legs, body = hips - shoulders, ankles - hips, ankles - shoulders
    lengths = _length(trunk), _length(legs)
    with np.errstate(invalid="ignore", divide="ignore"):
        straight = (trunk * legs).sum(axis=-1) / (lengths[0] * lengths[1])
        stretched = (straight > _STRETCHED) & (lengths[1] > _LEGS * lengths[0])
        way = body / _length(body)[..., None]
        alike = (way[:, 0] * way[:, 1]).sum(axis=-1) > _STRETCHED
    both = way[stretched.all(axis=1) & alike].mean(axis=1)
    if len(both) < _LEAST_S / _step_s(times):
        return ""
    seen = np.isfinite(keypoints[..., 0]).any(axis=2)
    alone = stretched & seen & (seen.sum(axis=1) == 1)[:, None]
    samples = len(both) + int((way[alone][:, 1] > _TOWARDS).sum())
    # Feet to the picture's right: it was turned a quarter to the left, and so on.
    sides = {
        "right": both[:, 0] > _TOWARDS,
        "left": both[:, 0] < -_TOWARDS,
        "over": both[:, 1] < -_TOWARDS,
    }
    return next((side for side, so in sides.items() if so.sum() >= _SHARE * samples), "")


def _middle(keypoints: np.ndarray, name: str) -> np.ndarray:
    sides = [COCO_KEYPOINTS.index(f"{side}_{name}") for side in ("left", "right")]
    left, right = np.moveaxis(keypoints[:, :, sides, :2], 2, 0)
    left, right = np.where(np.isnan(left), right, left), np.where(np.isnan(right), left, right)
    return (left + right) / 2


def _length(vectors: np.ndarray) -> np.ndarray:
    return np.linalg.norm(vectors, axis=-1)


def _step_s(times: np.ndarray) -> float:
    return float(np.median(np.diff(times))) if len(times) > 1 else 1.0
