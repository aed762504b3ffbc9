"""Two skeletons in space, placed by hand: one clear example of each position."""

from __future__ import annotations

import numpy as np

from pipeline.positions.judging import POSE_JOINTS

TRUNK, NECK, HEAD = 0.50, 0.08, 0.22
SHOULDER, HIP = 0.18, 0.11


def body(hip, up, front, knees, ankles, wrists=None) -> np.ndarray:
    """Joints (14, 3) of a body, metres; knees, ankles and wrists left, then right.

    Arms that are not placed hang down in front of the trunk, bent.
    """
    hip, up, front = (np.asarray(v, float) for v in (hip, up, front))
    up = up / np.linalg.norm(up)
    front = front - (front @ up) * up
    front = front / np.linalg.norm(front)
    left = np.cross(up, front)
    top = hip + TRUNK * up
    at = {"neck": top + NECK * up, "head": top + HEAD * up}
    for k, (side, sign) in enumerate((("l", 1), ("r", -1))):
        shoulder = top + sign * SHOULDER * left
        wrist = shoulder + 0.25 * front - 0.30 * up
        if wrists is not None:
            wrist = np.asarray(wrists[k], float)
        at[f"{side}_shoulder"] = shoulder
        at[f"{side}_elbow"] = (shoulder + wrist) / 2 + 0.05 * sign * left
        at[f"{side}_wrist"] = wrist
        at[f"{side}_hip"] = hip + sign * HIP * left
        at[f"{side}_knee"] = np.asarray(knees[k], float)
        at[f"{side}_ankle"] = np.asarray(ankles[k], float)
    return np.array([at[name] for name in POSE_JOINTS])


def supine(knees=((0.15, -0.30, 0.40), (-0.15, -0.30, 0.40)),
           ankles=((0.15, -0.55, 0.08), (-0.15, -0.55, 0.08)), **rest):  # fmt: skip
    """On the back, head towards +y, left at +x, feet on the mat."""
    return body((0, 0, 0.10), (0, 1, 0), (0, 0, 1), knees, ankles, **rest)


def standing(y: float, facing: float) -> np.ndarray:
    """On the feet at (0, y), facing along y."""
    s = -facing
    legs = [[(s * 0.15, y, z), (-s * 0.15, y, z)] for z in (0.48, 0.08)]
    return body((0, y, 0.90), (0, 0, 1), (0, facing, 0), *legs)


ALL_FOURS = body(
    (0, 0, 0.45), (0, 1, -0.1), (0, -0.1, -1),
    [(-0.15, 0.10, 0.08), (0.15, 0.10, 0.08)], [(-0.15, -0.30, 0.10), (0.15, -0.30, 0.10)],
    [(-0.2, 0.65, 0.05), (0.2, 0.65, 0.05)],
)  # fmt: skip

POSES: dict[str, np.ndarray] = {
    "standing": np.stack([standing(0, 1), standing(0.8, -1)]),
    "apart": np.stack([standing(0, 1), standing(3.0, -1)]),
    "mount": np.stack([
        body((0, 0.12, 0.38), (0, 0.3, 1), (0, 1, -0.3),
             [(-0.30, 0.30, 0.08), (0.30, 0.30, 0.08)],
             [(-0.28, -0.10, 0.08), (0.28, -0.10, 0.08)]),
        supine(),
    ]),
    "closed_guard": np.stack([
        body((0, -0.30, 0.38), (0, 0.4, 1), (0, 1, -0.4),
             [(-0.22, -0.05, 0.08), (0.22, -0.05, 0.08)],
             [(-0.2, -0.45, 0.08), (0.2, -0.45, 0.08)]),
        supine([(0.30, -0.30, 0.42), (-0.30, -0.30, 0.42)],
               [(-0.05, -0.58, 0.55), (0.05, -0.58, 0.55)]),
    ]),
    "open_guard": np.stack([
        body((0, -0.75, 0.40), (0, 0.3, 1), (0, 1, -0.3),
             [(-0.22, -0.60, 0.08), (0.22, -0.60, 0.08)], [(-0.2, -1.0, 0.08), (0.2, -1.0, 0.08)]),
        supine([(0.18, -0.25, 0.45), (-0.18, -0.25, 0.45)],
               [(0.12, -0.58, 0.48), (-0.12, -0.58, 0.48)]),
    ]),
    "half_guard": np.stack([
        body((-0.12, -0.12, 0.36), (0.15, 1, 0.2), (0, 0.2, -1),
             [(-0.38, 0.05, 0.08), (0.05, -0.28, 0.12)],
             [(-0.40, -0.38, 0.08), (0.05, -0.68, 0.12)]),
        supine([(0.22, -0.32, 0.30), (-0.12, -0.36, 0.30)],
               [(-0.06, -0.58, 0.26), (0.02, -0.66, 0.22)]),
    ]),
    "side_control": np.stack([
        body((0.62, 0.30, 0.28), (-1, 0, 0.1), (-0.1, 0, -1),
             [(0.50, 0.12, 0.08), (0.50, 0.48, 0.08)], [(0.92, 0.12, 0.08), (0.92, 0.48, 0.08)]),
        supine(),
    ]),
    "knee_on_belly": np.stack([
        body((0.30, 0.10, 0.62), (-0.2, 0, 1), (-1, 0.3, -0.2),
             [(0.05, 0.22, 0.32), (0.55, 0.45, 0.50)], [(0.40, -0.05, 0.25), (0.60, 0.50, 0.08)]),
        supine(),
    ]),
    "north_south": np.stack([
        body((0, 0.95, 0.35), (0, -1, -0.05), (0, 0.05, -1),
             [(0.2, 0.95, 0.08), (-0.2, 0.95, 0.08)], [(0.2, 1.35, 0.08), (-0.2, 1.35, 0.08)]),
        supine(),
    ]),
    "back_control": np.stack([
        body((0, -0.24, 0.12), (0, -0.2, 1), (0, 1, 0.2),
             [(-0.30, 0.10, 0.30), (0.30, 0.10, 0.30)], [(-0.08, 0.35, 0.15), (0.08, 0.35, 0.15)]),
        body((0, 0, 0.12), (0, -0.2, 1), (0, 1, 0.2),
             [(-0.22, 0.38, 0.35), (0.22, 0.38, 0.35)], [(-0.25, 0.75, 0.08), (0.25, 0.75, 0.08)]),
    ]),
    "turtle": np.stack([
        body((0, -0.42, 0.48), (0, 1, 0.5), (0, 0.5, -1),
             [(-0.28, -0.25, 0.08), (0.28, -0.25, 0.08)],
             [(-0.28, -0.65, 0.08), (0.28, -0.65, 0.08)]),
        ALL_FOURS,
    ]),
    "takedown": np.stack([
        body((0, 0.75, 0.45), (0, -1, 0.35), (0, -0.35, -1),
             [(0.15, 0.55, 0.08), (-0.15, 0.65, 0.08)], [(0.15, 0.95, 0.08), (-0.15, 1.05, 0.08)],
             [(0.15, -0.05, 0.45), (-0.15, -0.05, 0.45)]),
        standing(0, 1),
    ]),
    "leg_entanglement": np.stack([
        body((0, -0.50, 0.12), (0, -1, 0.6), (0, 0.6, 1),
             [(-0.10, -0.12, 0.42), (0.28, -0.15, 0.30)], [(0.20, 0.18, 0.22), (0.02, 0.15, 0.30)],
             [(0.14, -0.55, 0.32), (0.06, -0.50, 0.32)]),
        body((0.10, 0.42, 0.12), (0, 1, 0.6), (0, -0.6, 1),
             [(0.10, 0.02, 0.28), (-0.25, 0.05, 0.35)],
             [(0.10, -0.42, 0.28), (-0.35, -0.30, 0.08)]),
    ]),
}  # fmt: skip
"""Athlete A is on top, or attacks, in each."""
