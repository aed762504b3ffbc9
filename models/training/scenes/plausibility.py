"""Whether a solved pair could be two people: judged on the meshes, not on the solver's proxies.

Penetration is the depth of one body's skin inside the other's. A point is inside where the skin
winds round it: where rays from it along the axes leave the skin more often than they enter.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

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
# No point inside a body is so far from its skin.
_FAR_M = 0.2


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


def winding_number(points: np.ndarray, vertices: np.ndarray, faces: np.ndarray) -> np.ndarray:
    """How often a surface winds around each point: 1 inside, 0 outside.

    Along a ray the number is the count of crossings outwards less those inwards (Haines, *Point
    in Polygon Strategies*, 1994, in space). The median of six rays forgives small holes.

    Parameters
    ----------
    points : ndarray, (N, 3)
    vertices : ndarray, (V, 3)
    faces : ndarray, int, (F, 3)
        Outward (counter-clockwise seen from outside).

    Returns
    -------
    ndarray, (N,)
    """
    around = _Surface(vertices, faces)
    return np.array([around.winding(point) for point in np.asarray(points)])


class _Surface:
    """The triangles of a skin, with the box of each, to send rays through."""

    def __init__(self, vertices: np.ndarray, faces: np.ndarray):
        self._corners = tuple(np.asarray(vertices, float)[faces[:, i]] for i in range(3))
        a, b, c = self._corners
        # One axis a row: the boxes are searched along it.
        self._low = np.minimum(np.minimum(a, b), c).T.copy()
        self._high = np.maximum(np.maximum(a, b), c).T.copy()

    def winding(self, point: np.ndarray) -> float:
        """How often the skin winds round a point, (3,)."""
        meets = [(self._low[i] <= point[i]) & (self._high[i] >= point[i]) for i in range(3)]
        found: list[int] = []
        for along in range(3):
            u, v = (along + 1) % 3, (along + 2) % 3
            rows = np.flatnonzero(meets[u] & meets[v])
            a, b, c = (corner[rows] - point for corner in self._corners)
            found += _crossings(a, b, c, along)
        return float(np.median(found))


def _crossings(a: np.ndarray, b: np.ndarray, c: np.ndarray, along: int) -> tuple[int, int]:
    """Crossings outwards less inwards of triangles, up and down an axis from the origin."""
    u, v = (along + 1) % 3, (along + 2) % 3
    # Areas, seen along the ray, of the origin with each edge: of one sign if it is within.
    ab = a[:, u] * b[:, v] - a[:, v] * b[:, u]
    bc = b[:, u] * c[:, v] - b[:, v] * c[:, u]
    ca = c[:, u] * a[:, v] - c[:, v] * a[:, u]
    turns = ((ab >= 0) & (bc >= 0) & (ca >= 0)).astype(int)
    turns -= (ab < 0) & (bc < 0) & (ca < 0)
    # Height of the triangle over the origin, times the area, which has the sign of the turn.
    height = (a[:, along] * bc + b[:, along] * ca + c[:, along] * ab) * turns
    return int(turns[height > 0].sum()), int(-turns[height < 0].sum())


def deepest_inside(points: np.ndarray, vertices: np.ndarray, faces: np.ndarray) -> float:
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
    tree = cKDTree(vertices, compact_nodes=False, balanced_tree=False)
    distance, nearest = tree.query(near, distance_upper_bound=_FAR_M)
    met = np.isfinite(distance)
    near, distance, nearest = near[met], distance[met], nearest[met]
    beyond = near - vertices[nearest]
    # The nearest vertex's normal settles most points; the winding number decides the rest.
    behind = (beyond * vertex_normals(vertices, faces)[nearest]).sum(1) < 0.3 * distance
    asked = np.flatnonzero(behind & (distance > _SHALLOW_M))
    if not len(asked):
        return 0.0
    skin = _Surface(vertices, faces)
    deepest_first = asked[np.argsort(-distance[asked])]
    found = (i for i in deepest_first if skin.winding(near[i]) > 0.5)
    return next((float(distance[i]) for i in found), 0.0)


def penetration(skins: tuple[np.ndarray, np.ndarray], faces: np.ndarray) -> float:
    """Return the deepest point of either skin (V, 3) inside the other, metres."""
    a, b = skins
    return float(
        max(
            deepest_inside(a[::_STRIDE], b, faces),
            deepest_inside(b[::_STRIDE], a, faces),
        )
    )


def judge(
    pair: PosedPair,
    persons: Sequence[Person],
    contact: float,
    worst_contact: float,
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
    deepest = penetration((skins[0], skins[1]), shared.skin_faces)
    quality = Quality(contact, worst_contact, deepest, abs(lowest + MAT_GIVES_M))
    return pair.shifted(up), quality
