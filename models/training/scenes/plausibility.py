"""Whether a solved pair could be two people: judged on the meshes, not on the solver's proxies.

Penetration is the depth of one body's skin inside the other's, found with the generalised
winding number (Jacobson, Kavan, Sorkine-Hornung, *Robust Inside-Outside Segmentation using
Generalized Winding Numbers*, 2013) with the solid angle of Van Oosterom and Strackee (1983).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import torch
from scipy.spatial import cKDTree
from torch import Tensor

from .body import Person
from .pose import PosedPair
from .triangles import vertex_normals

MAX_CONTACT_ERROR_M = 0.03
MAX_PENETRATION_M = 0.03
MAX_FLOOR_ERROR_M = 0.015
MAT_GIVES_M = 0.004
"""A mat is soft: the lowest point of a settled pair lies this far below its surface."""

# Every third vertex of the skin is asked whether it is inside; they are about 1 cm apart.
_STRIDE = 3
# Depths below this are the give of flesh; no winding number is spent on them.
_SHALLOW_M = 0.008
_POINTS_AT_ONCE = 12


@dataclass(frozen=True)
class Quality:
    """How good a solved pair is; all lengths in metres.

    Attributes
    ----------
    contact : float
        Mean gap of what should touch.
    worst_contact : float
        The largest of them.
    penetration : float
        Deepest point of one skin inside the other.
    floor : float
        How far the lowest point of the pair was from the mat before the pair was set down on it.
    """

    contact: float
    worst_contact: float
    penetration: float
    floor: float

    @property
    def accepted(self) -> bool:
        """Whether the pair is good enough to learn from."""
        return (
            self.contact <= MAX_CONTACT_ERROR_M
            and self.penetration <= MAX_PENETRATION_M
            and self.floor <= MAX_FLOOR_ERROR_M
        )


def winding_number(
    points: np.ndarray, vertices: np.ndarray, faces: np.ndarray, device: str = "cpu"
) -> np.ndarray:
    """How often a surface winds around each point: 1 inside, 0 outside.

    Parameters
    ----------
    points : ndarray, (N, 3)
    vertices : ndarray, (V, 3)
    faces : ndarray, int, (F, 3)
        Outward (counter-clockwise seen from outside). Small holes make the number fractional.

    Returns
    -------
    ndarray, (N,)
    """
    corners = torch.as_tensor(vertices[faces], dtype=torch.float32, device=device)
    asked = torch.as_tensor(points, dtype=torch.float32, device=device)
    found = [_solid_angles(part, corners) for part in asked.split(_POINTS_AT_ONCE)]
    return torch.cat(found).cpu().numpy() if found else np.zeros(0)


def _solid_angles(points: Tensor, corners: Tensor) -> Tensor:
    a, b, c = (corners[None, :, i] - points[:, None] for i in range(3))
    la, lb, lc = a.norm(dim=-1), b.norm(dim=-1), c.norm(dim=-1)
    volume = (a * torch.linalg.cross(b, c)).sum(-1)
    base = la * lb * lc + (a * b).sum(-1) * lc + (b * c).sum(-1) * la + (c * a).sum(-1) * lb
    return torch.atan2(volume, base).sum(1) / (2 * np.pi)


def deepest_inside(
    points: np.ndarray, vertices: np.ndarray, faces: np.ndarray, device: str = "cpu"
) -> float:
    """How deep the deepest of some points lies inside a closed skin.

    Parameters
    ----------
    points : ndarray, (N, 3)
    vertices, faces : the skin

    Returns
    -------
    float
        Metres to the nearest vertex of the skin; 0 if no point is inside by more than 8 mm.
    """
    low, high = vertices.min(0), vertices.max(0)
    near = points[((points > low) & (points < high)).all(1)]
    if not len(near):
        return 0.0
    distance, nearest = cKDTree(vertices).query(near)
    beyond = near - vertices[nearest]
    # The nearest vertex's normal settles most points; the winding number decides the rest.
    behind = (beyond * vertex_normals(vertices, faces)[nearest]).sum(1) < 0.3 * distance
    asked = np.flatnonzero(behind & (distance > _SHALLOW_M))
    asked = asked[np.argsort(-distance[asked])]
    for start in range(0, len(asked), _POINTS_AT_ONCE):
        some = asked[start : start + _POINTS_AT_ONCE]
        inside = winding_number(near[some], vertices, faces, device) > 0.5
        if inside.any():
            return float(distance[some][inside].max())
    return 0.0


def penetration(
    skins: tuple[np.ndarray, np.ndarray], faces: np.ndarray, device: str = "cpu"
) -> float:
    """Return the deepest point of either skin (V, 3) inside the other, metres."""
    a, b = skins
    return float(
        max(
            deepest_inside(a[::_STRIDE], b, faces, device),
            deepest_inside(b[::_STRIDE], a, faces, device),
        )
    )


def judge(
    pair: PosedPair,
    persons: Sequence[Person],
    contact: float,
    worst_contact: float,
    device: str = "cpu",
) -> tuple[PosedPair, Quality]:
    """Set a pair down on the mat and measure it.

    Parameters
    ----------
    pair : PosedPair
    persons : sequence of Person
        The cast its bodies index.
    contact, worst_contact : float
        The solver's gaps, metres.

    Returns
    -------
    PosedPair
        Moved up or down so that its lowest point lies on the mat.
    Quality
    """
    shared = persons[0].topology
    skins = [persons[b.person].vertices(b)[: shared.skin_size] for b in pair.bodies]
    lowest = float(min(skin[:, 2].min() for skin in skins))
    up = np.array([0, 0, -lowest - MAT_GIVES_M], np.float32)
    deepest = penetration((skins[0], skins[1]), shared.skin_faces, device)
    quality = Quality(contact, worst_contact, deepest, abs(lowest + MAT_GIVES_M))
    return pair.shifted(up), quality
