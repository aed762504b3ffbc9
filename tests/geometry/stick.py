"""A stick figure of known angles and Drillis–Contini proportions, for closed-form checks."""

from __future__ import annotations

import numpy as np

from pipeline.geometry import STATURE_FRACTIONS as F

H = 400.0  # stature in pixels
TRUNK = F["trunk"] * H


def direction(angle: float) -> np.ndarray:
    """Unit vector in the picture: 0° up, 90° to the right, 180° down."""
    return np.array([np.sin(np.radians(angle)), -np.cos(np.radians(angle))])


def figure(
    hip=(0.0, 0.0),
    trunk=0.0,
    thighs=(180.0, 180.0),
    shanks=(180.0, 180.0),
    arms=(180.0, 180.0),
    forearms=(180.0, 180.0),
    breadth=0.0,
    stature=H,
) -> np.ndarray:
    """Return keypoints (17, 3) with every segment in the picture plane.

    Angles are directions in the picture, degrees from up, left then right side. `breadth`
    is the part of shoulder and hip breadth that is seen (0 from the side, 1 from the front).
    """
    hip = np.asarray(hip, dtype=float)
    shoulder = hip + F["trunk"] * stature * direction(trunk)
    # Seen from the front the left side is on the right of the picture.
    across = np.array([breadth * stature / 2, 0.0])
    k = np.full((17, 3), 1.0)
    head = shoulder + 0.1 * stature * direction(trunk)
    k[:5, :2] = head
    for side, sign in ((0, 1), (1, -1)):
        s = shoulder + sign * F["shoulder_breadth"] * across
        h = hip + sign * F["hip_breadth"] * across
        elbow = s + F["upper_arm"] * stature * direction(arms[side])
        knee = h + F["thigh"] * stature * direction(thighs[side])
        k[5 + side, :2] = s
        k[7 + side, :2] = elbow
        k[9 + side, :2] = elbow + F["forearm"] * stature * direction(forearms[side])
        k[11 + side, :2] = h
        k[13 + side, :2] = knee
        k[15 + side, :2] = knee + F["shank"] * stature * direction(shanks[side])
    return k


def pair(a: np.ndarray, b: np.ndarray, samples: int = 1) -> tuple[np.ndarray, np.ndarray]:
    """Return times at 5 a second and keypoints (T, 2, 17, 3) of a pair that keeps still."""
    times = np.arange(samples) / 5
    return times, np.repeat(np.stack([a, b])[None], samples, axis=0).astype(np.float32)
