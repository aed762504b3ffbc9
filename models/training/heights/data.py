"""Skeletons in the picture, and how high they truly are."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from models.training.positions.data import StoredBout
from models.training.scenes.views import ReaderErrors, view
from pipeline.geometry.lifting import looks_long, normalised
from pipeline.geometry.skeleton import ANKLES, HIPS, KNEES, NOSE, SHOULDERS

RATE_HZ = 5.0
FULL_TILT = 45.0  # degrees


class Sample(NamedTuple):
    """N samples: placed points (N, 2, 17, 2) and true heights (N, 2, 5) in trunk lengths.

    ``length`` (N,): `pipeline.geometry.lifting.looks_long`; ``tilt`` (N,): how far the camera
    looks down, shares of `FULL_TILT`; ``view`` (N,): which samples come from one camera.
    """

    placed: np.ndarray
    heights: np.ndarray
    length: np.ndarray
    tilt: np.ndarray
    view: np.ndarray


def true_heights(world: np.ndarray) -> np.ndarray:
    """Return heights (T, 2, 5) in trunk lengths of skeletons (T, 2, 17, 3) in metres."""
    hip, shoulder = world[:, :, HIPS].mean(axis=2), world[:, :, SHOULDERS].mean(axis=2)
    trunk = np.median(np.linalg.norm(shoulder - hip, axis=-1), axis=0)
    z = [hip[..., 2], shoulder[..., 2], world[:, :, NOSE, 2]]
    z += [world[:, :, joints, 2].min(axis=2) for joints in (ANKLES, KNEES)]
    return np.stack(z, axis=-1) / trunk[:, None]


def samples(bouts: Sequence[StoredBout], views: int, seed: int) -> Sample:
    """See each bout through several cameras."""
    parts = []
    for number, bout in enumerate(bouts):
        true = true_heights(bout.keypoints)
        for shot in range(views):
            rng = np.random.default_rng((seed, number, shot))
            errors = replace(ReaderErrors.draw(rng), athletes_exchanged=0.0)
            seen = view(bout, rng, errors, RATE_HZ)
            points = seen.keypoints[..., :2].astype(np.float64)
            usable = np.isfinite(points[:, :, (*SHOULDERS, *HIPS)]).all(axis=(1, 2, 3))
            points = points[usable]
            columns = (
                normalised(points),
                true[seen.samples][usable],
                looks_long(points, seen.times[usable]),
                seen.elevation[usable] / FULL_TILT,
            )
            view_number = np.full(len(points), number * views + shot)
            parts.append((*(column.astype(np.float32) for column in columns), view_number))
    return Sample(*(np.concatenate(column) for column in zip(*parts, strict=True)))
