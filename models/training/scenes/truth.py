"""What is really in a picture: keypoints with what hides them, masks and boxes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from .camera import Camera

OUTSIDE, HIDDEN, VISIBLE = 0, 1, 2
OTHER = 3
"""Mask value of everybody who is not in the pair."""

# How far below skin or cloth a keypoint lies, metres, at most, seen from a side that shows it
# (COCO order). Eyes, ears and nose lie on the skin; hips and shoulders deep inside.
_DEPTH_M = np.array(
    [0.035, 0.03, 0.03, 0.035, 0.035, 0.12, 0.12, 0.085, 0.085, 0.06, 0.06, 0.17, 0.17, 0.10, 0.10,
     0.075, 0.075]
)  # fmt: skip
CLOTH_M = 0.04
"""More for a gi: how far it stands off the skin."""


def visibility(
    camera: Camera,
    keypoints: np.ndarray,
    labels: np.ndarray,
    depth: np.ndarray,
    label: int,
    gi: bool,
) -> np.ndarray:
    """Tell which keypoints of one person are seen, hidden or outside the picture.

    A keypoint is seen if most of the nine pixels around it show this person (or something
    behind), no nearer than the joint lies under their skin and cloth. What hides it may be the
    other athlete, anybody or anything else, or the person's own body.

    Parameters
    ----------
    camera : Camera
    keypoints : ndarray, (17, 3)
        World, metres.
    labels, depth : ndarray, (H, W)
        Who is at a pixel, and how far, from the renderer.
    label : int
        This person's.
    gi : bool
        Whether loose cloth is worn.

    Returns
    -------
    ndarray, int8, (17,)
        2 visible, 1 hidden, 0 outside.
    """
    h, w = labels.shape
    projected = camera.project(keypoints)
    x, y = np.floor(np.nan_to_num(projected[:, :2], nan=-1.0)).astype(int).T
    inside = (x >= 0) & (x < w) & (y >= 0) & (y < h) & (projected[:, 2] > 0)
    step = np.array([-1, 0, 1])
    xs = np.clip(x[:, None, None] + step[None, None, :], 0, w - 1)
    ys = np.clip(y[:, None, None] + step[None, :, None], 0, h - 1)
    slack = (_DEPTH_M + (CLOTH_M if gi else 0.01) * (np.arange(17) > 4))[:, None, None]
    far_enough = depth[ys, xs] >= projected[:, 2, None, None] - slack
    whose = labels[ys, xs]
    clear = far_enough & ((whose == label) | (depth[ys, xs] > projected[:, 2, None, None]))
    seen = clear.sum((1, 2)) >= 5
    return np.where(inside, np.where(seen, VISIBLE, HIDDEN), OUTSIDE).astype(np.int8)


def instance_mask(labels: np.ndarray) -> np.ndarray:
    """Half-size mask of who is seen: 0 nobody, 1 A, 2 B, 3 others; uint8 (H/2, W/2)."""
    return np.minimum(labels[1::2, 1::2], OTHER).astype(np.uint8)


def seen_boxes(labels: np.ndarray, least_pixels: int = 40) -> np.ndarray:
    """Boxes around what is seen of each other person.

    Returns
    -------
    ndarray, float32, (N, 4)
        x0, y0, x1, y1 in pixels, largest first; who shows fewer than `least_pixels` is left out.
    """
    half = labels[1::2, 1::2]
    boxes = []
    for label in np.unique(half):
        if label < OTHER:
            continue
        ys, xs = np.nonzero(half == label)
        if 4 * len(xs) >= least_pixels:
            boxes.append([2 * xs.min(), 2 * ys.min(), 2 * xs.max() + 2, 2 * ys.max() + 2])
    boxes.sort(key=lambda b: (b[0] - b[2]) * (b[3] - b[1]))
    return np.array(boxes, np.float32).reshape(-1, 4)


def gap(balls: Sequence[np.ndarray]) -> float:
    """Metres between two bodies by the balls (S, 4) that fill them; negative where they overlap."""
    a, b = balls
    apart = np.linalg.norm(a[:, None, :3] - b[None, :, :3], axis=-1) - a[:, None, 3] - b[None, :, 3]
    return float(apart.min())


def touching(balls: Sequence[np.ndarray], gap_m: float = 0.03) -> bool:
    """Whether two bodies touch, judged on the balls (S, 4) that fill them."""
    return gap(balls) < gap_m
