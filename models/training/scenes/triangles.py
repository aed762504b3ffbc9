"""Triangle meshes; NumPy only, for Blender's Python uses it too."""

from __future__ import annotations

import numpy as np


def split_in_four(faces: np.ndarray, count: int) -> tuple[np.ndarray, np.ndarray]:
    """Split every triangle in four at the middles of its edges.

    Parameters
    ----------
    faces : ndarray, int, (F, 3)
    count : int
        Vertices there are; the middles are numbered on from there.

    Returns
    -------
    edges : ndarray, int, (E, 2)
        The two vertices that each new one lies between.
    faces : ndarray, int, (4 F, 3)
    """
    edges = np.sort(faces[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    unique, which = np.unique(edges, axis=0, return_inverse=True)
    a, b, c = faces.T
    ab, bc, ca = which.reshape(-1, 3).T + count
    corners = ((a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca))
    return unique, np.concatenate([np.stack(t, 1) for t in corners])


def vertex_normals(vertices: np.ndarray, faces: np.ndarray) -> np.ndarray:
    """Unit normals (V, 3), the area-weighted mean of the faces round each vertex; zero without."""
    a, b, c = (vertices[faces[:, i]] for i in range(3))
    face = np.cross(b - a, c - a)
    normal = np.zeros((len(vertices), 3))
    for axis in range(3):
        normal[:, axis] = np.bincount(
            faces.ravel(), np.repeat(face[:, axis], 3), minlength=len(vertices)
        )
    return normal / np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-12)
