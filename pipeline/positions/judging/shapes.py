"""Small geometry on stacks of points: segments, triangles, and the trunk's own axes."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from pipeline.positions.judging.skeleton import HIPS, MID_HIP, MID_SHOULDER, SHOULDERS


def dot(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Product of vectors along the last axis."""
    return np.einsum("...i,...i->...", a, b)


def unit(v: np.ndarray) -> np.ndarray:
    """Vectors of length 1; a zero vector stays one."""
    return v / np.maximum(np.linalg.norm(v, axis=-1, keepdims=True), 1e-9)


class Trunk(NamedTuple):
    """Where trunks are and which way they point.

    Attributes
    ----------
    hip, shoulder, chest : ndarray, (..., 3)
        Middles of hips and of shoulders, and the point two thirds up between them.
    up, left, front : ndarray, (..., 3)
        Unit vectors: hips to shoulders, to the own left, and where the chest faces.
    length : ndarray, (...)
    """

    hip: np.ndarray
    shoulder: np.ndarray
    chest: np.ndarray
    up: np.ndarray
    left: np.ndarray
    front: np.ndarray
    length: np.ndarray


def trunk_of(joints: np.ndarray) -> Trunk:
    """Return the trunks of joints (..., 16, 3)."""
    hip, shoulder = joints[..., MID_HIP, :], joints[..., MID_SHOULDER, :]
    up = unit(shoulder - hip)
    across = np.zeros_like(up)
    for part in (HIPS, SHOULDERS):
        across += unit(joints[..., part.start, :] - joints[..., part.start + 1, :])
    left = unit(across - dot(across, up)[..., None] * up)
    length = np.linalg.norm(shoulder - hip, axis=-1)
    chest = hip + 0.67 * (shoulder - hip)
    return Trunk(hip, shoulder, chest, up, left, np.cross(left, up), length)


def nearest(a: np.ndarray, b: np.ndarray, c: np.ndarray, d: np.ndarray) -> np.ndarray:
    """Vector from the segment a–b to the segment c–d where they are nearest, (..., 3)."""
    u, v, w = b - a, d - c, a - c
    uu, uv, vv = dot(u, u) + 1e-12, dot(u, v), dot(v, v) + 1e-12
    uw, vw = dot(u, w), dot(v, w)
    s = np.clip((uv * vw - vv * uw) / np.maximum(uu * vv - uv * uv, 1e-9), 0, 1)
    t = np.clip((uv * s + vw) / vv, 0, 1)
    s = np.clip((uv * t - uw) / uu, 0, 1)
    return t[..., None] * v - w - s[..., None] * u


def crosses_triangle(
    p: np.ndarray, q: np.ndarray, a: np.ndarray, b: np.ndarray, c: np.ndarray
) -> np.ndarray:
    """Whether the segment p–q passes through the triangle a, b, c.

    Source: Möller and Trumbore, *Fast, Minimum Storage Ray/Triangle Intersection*, 1997.
    """
    along, e1, e2 = q - p, b - a, c - a
    h = np.cross(along, e2)
    det = dot(e1, h)
    flat = np.abs(det) < 1e-12
    inverse = 1 / np.where(flat, np.inf, det)
    s = p - a
    u = dot(s, h) * inverse
    k = np.cross(s, e1)
    v, t = dot(along, k) * inverse, dot(e2, k) * inverse
    return (u >= 0) & (v >= 0) & (u + v <= 1) & (t >= 0) & (t <= 1) & ~flat
