"""Cloth and skin as triangle sheets: posed, cut along exact lines, widened."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..figures import Figure
from ..triangles import vertex_normals


@dataclass(frozen=True)
class Sheet:
    """A posed triangle mesh that remembers where on the body each vertex belongs.

    Attributes
    ----------
    place, normal, rest : ndarray, float32, (V, 3)
        World position and unit normal, position at rest; metres.
    region : ndarray, float32, (V, 4)
        Along the arm, up the body, share of arm, crease; see `figures.VERTEX_FIELDS`.
    faces : ndarray, int32, (F, 3)
    """

    place: np.ndarray
    normal: np.ndarray
    rest: np.ndarray
    region: np.ndarray
    faces: np.ndarray

    def widened(self, by: np.ndarray | float) -> Sheet:
        """Move every vertex outwards, by so many metres."""
        out = self.place + self.normal * np.asarray(by, np.float32).reshape(-1, 1)
        return replace(self, place=out.astype(np.float32))

    def cut(self, keep: np.ndarray) -> Sheet:
        """Keep the part where `keep` (V,) is positive; edges run exactly where it is 0."""
        rows = np.concatenate([self.place, self.normal, self.rest, self.region], 1)
        rows, faces = _cut(rows, self.faces, np.asarray(keep, np.float32))
        place, normal, rest, region = np.split(rows, (3, 6, 9), 1)
        return Sheet(place, normal, rest, region, faces)


def posed_sheet(figure: Figure, matrices: np.ndarray, part: str) -> Sheet:
    """Pose one of a figure's meshes.

    Parameters
    ----------
    figure : Figure
    matrices : ndarray, (J, 3, 4)
        `Figure.matrices`.
    part : str
        A key of ``figure.faces``.
    """
    used, faces = np.unique(figure.faces[part], return_inverse=True)
    faces = faces.reshape(-1, 3).astype(np.int32)
    v = figure.vertices[used]
    moved = np.einsum("vkab,vb->vka", matrices[v["bones"].astype(int), :, :3], v["rest"])
    moved += matrices[v["bones"].astype(int), :, 3]
    place = np.einsum("vka,vk->va", moved, v["weights"]).astype(np.float32)
    return Sheet(place, vertex_normals(place, faces), v["rest"], v["region"], faces)


def _cut(rows: np.ndarray, faces: np.ndarray, keep: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Split the triangles that the line crosses; returns new rows and the faces that stay."""
    inside = keep > 0
    corners = inside[faces].sum(1)
    pieces, edges, count = [faces[corners == 3]], [], len(rows)
    for kept in (1, 2):
        f = faces[corners == kept]
        lone = (inside[f] == (kept == 1)).argmax(1)
        a, b, c = np.take_along_axis(f, (lone[:, None] + np.arange(3)) % 3, 1).T
        ab, ac = count + np.arange(len(f)), count + len(f) + np.arange(len(f))
        count += 2 * len(f)
        edges += [np.stack([a, b], 1), np.stack([a, c], 1)]
        if kept == 1:
            pieces.append(np.stack([a, ab, ac], 1))
        else:
            pieces += [np.stack([ab, b, c], 1), np.stack([ab, c, ac], 1)]
    ends = np.concatenate(edges)
    low, high = np.sort(ends, 1).T
    t = (keep[low] / np.where(keep[low] == keep[high], 1, keep[low] - keep[high]))[:, None]
    rows = np.concatenate([rows, rows[low] * (1 - t) + rows[high] * t]).astype(np.float32)
    pairs, same = np.unique(low.astype(np.int64) * count + high, return_inverse=True)
    first = np.zeros(len(pairs), np.int64)
    first[same[::-1]] = np.arange(len(same))[::-1]
    names = np.concatenate([np.arange(count - len(ends)), count - len(ends) + first[same]])
    used, out = np.unique(names[np.concatenate(pieces)], return_inverse=True)
    return rows[used], out.reshape(-1, 3).astype(np.int32)
