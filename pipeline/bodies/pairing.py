"""Which two of the people found are the pair, where a reader does not say so itself."""

from __future__ import annotations

import math
from itertools import combinations

import numpy as np

from pipeline.bodies.look import Body, Region
from pipeline.settings import BodiesSettings


def body_box(body: Body, least_confidence: float = 0.0) -> Region | None:
    """Return the box around a body's keypoints, or None if fewer than four are known."""
    keypoints = body.keypoints[body.keypoints[:, 2] >= least_confidence]
    if len(keypoints) < 4:
        return None
    (x0, y0), (x1, y1) = keypoints[:, :2].min(0), keypoints[:, :2].max(0)
    return Region(float(x0), float(y0), float(x1), float(y1))


def same_body(a: Body, b: Body, share: float) -> bool:
    """Whether two findings are one person: their keypoints lie on each other.

    True if the median distance of common keypoints is below `share` of the larger one's size.
    """
    distance = np.linalg.norm(a.keypoints[:, :2] - b.keypoints[:, :2], axis=1)
    if np.isnan(distance).all():
        return False
    boxes = [box for box in (body_box(a), body_box(b)) if box is not None]
    size = max((math.hypot(*box.size) for box in boxes), default=0.0)
    return bool(np.nanmedian(distance) < share * size)


def pair_box(
    bodies: tuple[Body, ...], settings: BodiesSettings, near: Region | None = None
) -> Region | None:
    """Return the box around the two people most likely to be the pair, or None.

    Large and close together beats small and far apart; being where the pair was counts too.
    """
    best: Region | None = None
    best_score = -math.inf
    for a, b in combinations(bodies, 2):
        if same_body(a, b, settings.duplicate_share):
            continue
        box_a, box_b = (body_box(body, settings.least_confidence) for body in (a, b))
        if box_a is None or box_b is None:
            continue
        sizes = [math.hypot(*box.size) for box in (box_a, box_b)]
        apart = math.dist(_centre(box_a), _centre(box_b)) / max(1.0, float(np.mean(sizes)))
        if apart > settings.furthest_apart:
            continue
        box = union(box_a, box_b)
        score = math.log(max(1.0, min(sizes))) - apart + 2 * (overlap(box, near) if near else 0)
        if score > best_score:
            best, best_score = box, score
    return best


def union(a: Region, b: Region) -> Region:
    """Return the smallest region that holds both."""
    return Region(min(a.x0, b.x0), min(a.y0, b.y0), max(a.x1, b.x1), max(a.y1, b.y1))


def overlap(a: Region, b: Region) -> float:
    """Return intersection over union, 0–1."""
    width = min(a.x1, b.x1) - max(a.x0, b.x0)
    height = min(a.y1, b.y1) - max(a.y0, b.y0)
    if width <= 0 or height <= 0:
        return 0.0
    shared = width * height
    return shared / (math.prod(a.size) + math.prod(b.size) - shared)


def _centre(region: Region) -> tuple[float, float]:
    return (region.x0 + region.x1) / 2, (region.y0 + region.y1) / 2
