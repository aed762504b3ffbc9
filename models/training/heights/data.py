"""Skeletons in the picture, and how high they truly are."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from models.training.positions.data import StoredBout
from models.training.scenes.camera import handheld, random_camera
from pipeline.geometry.lifting import normalised
from pipeline.geometry.skeleton import ANKLES, HIPS, KNEES, NOSE, SHOULDERS

NOISE_M = 0.08  # the most a reader errs in training, metres


class Sample(NamedTuple):
    """N samples: placed points (N, 2, 17, 2) and true heights (N, 2, 5) in trunk lengths."""

    placed: np.ndarray
    heights: np.ndarray


def true_heights(world: np.ndarray) -> np.ndarray:
    """Return heights (T, 2, 5) in trunk lengths of skeletons (T, 2, 17, 3) in metres."""
    hip, shoulder = world[:, :, HIPS].mean(axis=2), world[:, :, SHOULDERS].mean(axis=2)
    trunk = np.median(np.linalg.norm(shoulder - hip, axis=-1), axis=0)
    z = [hip[..., 2], shoulder[..., 2], world[:, :, NOSE, 2]]
    z += [world[:, :, joints, 2].min(axis=2) for joints in (ANKLES, KNEES)]
    return np.stack(z, axis=-1) / trunk[:, None]


def seen_by_a_camera(bout: StoredBout, rng: np.random.Generator) -> np.ndarray:
    """Return a bout's keypoints (T, 2, 17, 2) through a new camera, with a reader's errors."""
    world = bout.keypoints.astype(np.float64)
    middles = world.mean(axis=(1, 2))
    low, high = world[0].min(axis=(0, 1)), world[0].max(axis=(0, 1))
    camera = random_camera(rng, np.minimum(low, middles[0] - 0.8), np.maximum(high, low + 1.2))
    noise = rng.uniform(0, NOISE_M) * (rng.random() < 0.75)
    lasting = np.repeat(rng.normal(size=(len(world) // 5 + 1, *world.shape[1:])), 5, axis=0)
    wrong = world + noise * 0.7 * (rng.normal(size=world.shape) + lasting[: len(world)])
    cameras = handheld(rng, camera, bout.times, middles)
    points = np.stack([c.project(p)[..., :2] for c, p in zip(cameras, wrong, strict=True)])
    points[rng.random(points.shape[:3]) < rng.choice([0.0, rng.uniform(0, 0.2)])] = np.nan
    return points


def samples(bouts: Sequence[StoredBout], views: int, seed: int) -> Sample:
    """See each bout through several cameras."""
    placed, heights = [], []
    for number, bout in enumerate(bouts):
        true = true_heights(bout.keypoints)
        for shot in range(views):
            points = seen_by_a_camera(bout, np.random.default_rng((seed, number, shot)))
            usable = np.isfinite(points[:, :, (*SHOULDERS, *HIPS)]).all(axis=(1, 2, 3))
            placed.append(normalised(points[usable]).astype(np.float32))
            heights.append(true[usable].astype(np.float32))
    return Sample(np.concatenate(placed), np.concatenate(heights))
