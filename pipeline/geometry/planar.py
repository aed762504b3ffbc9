"""Plane geometry over whole arrays: angles, distances to segments, crossings, enclosure."""

from __future__ import annotations

import numpy as np


def cross(u: np.ndarray, v: np.ndarray) -> np.ndarray:
    """Return the z component of u × v for ``(..., 2)`` vectors."""
    return u[..., 0] * v[..., 1] - u[..., 1] * v[..., 0]


def norm(v: np.ndarray) -> np.ndarray:
    """Return lengths of ``(..., 2)`` vectors."""
    return np.hypot(v[..., 0], v[..., 1])


def angle_between(u: np.ndarray, v: np.ndarray) -> np.ndarray:
    """Return the angle between vectors, degrees 0–180; NaN for a vector of no length."""
    dot = (u * v).sum(axis=-1)
    angle = np.degrees(np.arctan2(np.abs(cross(u, v)), dot))
    return np.where((norm(u) > 0) & (norm(v) > 0), angle, np.nan)


def joint_angle(a: np.ndarray, joint: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Return the angle a–joint–b, degrees; 180 is straight."""
    return angle_between(a - joint, b - joint)


def distance_to_segment(p: np.ndarray, start: np.ndarray, end: np.ndarray) -> np.ndarray:
    """Return distances of points to segments (broadcast over leading axes)."""
    along = end - start
    length2 = (along * along).sum(axis=-1)
    with np.errstate(invalid="ignore", divide="ignore"):
        t = ((p - start) * along).sum(axis=-1) / length2
    t = np.where(length2 > 0, np.clip(t, 0, 1), np.where(np.isnan(length2), np.nan, 0.0))
    return norm(p - (start + t[..., None] * along))


def segments_cross(a0: np.ndarray, a1: np.ndarray, b0: np.ndarray, b1: np.ndarray) -> np.ndarray:
    """Return whether segments cross in their insides; False where anything is NaN."""
    with np.errstate(invalid="ignore"):
        side_b = cross(a1 - a0, b0 - a0) * cross(a1 - a0, b1 - a0)
        side_a = cross(b1 - b0, a0 - b0) * cross(b1 - b0, a1 - b0)
        return (side_a < 0) & (side_b < 0)


def inside_polygon(points: np.ndarray, polygon: np.ndarray) -> np.ndarray:
    """Return whether points are inside a polygon by the even–odd rule.

    Parameters
    ----------
    points : ndarray, (T, N, 2)
    polygon : ndarray, (T, V, 2)
        May cross itself, as the outline of crossed legs does.

    Returns
    -------
    ndarray of bool, (T, N)
        False where anything is NaN.
    """
    p = points[:, :, None, :]
    v0 = polygon[:, None, :, :]
    v1 = np.roll(polygon, -1, axis=1)[:, None, :, :]
    with np.errstate(invalid="ignore", divide="ignore"):
        spans = (v0[..., 1] > p[..., 1]) != (v1[..., 1] > p[..., 1])
        x_at = v0[..., 0] + (p[..., 1] - v0[..., 1]) * (v1[..., 0] - v0[..., 0]) / (
            v1[..., 1] - v0[..., 1]
        )
        odd = (spans & (p[..., 0] < x_at)).sum(axis=-1) % 2 == 1
    known = np.isfinite(polygon).all(axis=(1, 2))[:, None] & np.isfinite(points).all(axis=-1)
    return odd & known
