"""Where bodies come from: Anny, a parametric body (Apache-2.0, body data CC0).

Only the default topology and data are used. The module is imported when a cast is made; a cast
that was saved needs neither Anny nor PyTorch.
"""

from __future__ import annotations

import functools
import json
from collections.abc import Mapping
from typing import Any

import numpy as np

from pipeline.bodies.look import COCO_KEYPOINTS
from pipeline.errors import MatlineError

from .body import Person, Topology

CLOTH_HELPERS = ("helper-hair", "helper-tights", "helper-skirt")
"""Faces of the base mesh that follow the body and can be worn: a cap, a full suit, a skirt."""


@functools.lru_cache(maxsize=1)
def _model() -> Any:
    try:
        import anny
        import torch
    except ImportError as error:
        raise MatlineError(
            f"Making bodies needs {error.name}, which is not installed: "
            "run pip install 'matline[training]', or use a saved cast."
        ) from error
    model = anny.Anny(topology="anny-full").to(torch.float32)
    model.set_skinning_method("lbs")
    return model


def _helper_faces(base_mesh: Any) -> dict[str, np.ndarray]:
    """Triangles of the wearable helpers, which the default faces leave out."""
    faces: dict[str, list[list[int]]] = {name: [] for name in CLOTH_HELPERS}
    group = ""
    for line in base_mesh.read_text().splitlines():
        kind, *rest = line.split() or [""]
        if kind == "g":
            group = rest[0]
        elif kind == "f" and group in faces:
            corner = [int(token.split("/")[0]) - 1 for token in rest]
            fan = range(1, len(corner) - 1)
            faces[group] += [[corner[0], corner[i], corner[i + 1]] for i in fan]
    return {name: np.array(triangles, np.int32) for name, triangles in faces.items()}


def _vertex_groups(path: Any) -> dict[str, np.ndarray]:
    """Vertices of the skin and of each helper."""
    ranges = json.loads(path.read_text())
    return {
        name: np.concatenate([np.arange(first, last + 1) for first, last in spans]).astype(np.int32)
        for name, spans in ranges.items()
        if name == "body" or name.startswith("helper-")
    }


@functools.lru_cache(maxsize=1)
def topology() -> Topology:
    """Return what all bodies share: bones, weights, faces, helpers, keypoints."""
    model = _model()
    import anny
    from anny.keypoints import KeypointsRegressor

    data = anny.paths.get_anny_root_dir() / "data" / "mpfb2"
    regressor = KeypointsRegressor.coco(model, list(COCO_KEYPOINTS)).regression_weights
    return Topology(
        bones=tuple(model.bone_labels),
        parents=np.array(model.bone_parents, np.int32),
        weight_bones=model.vertex_bone_indices.numpy().astype(np.uint8),
        weights=model.vertex_bone_weights.numpy().astype(np.float32),
        faces=model.faces.numpy().astype(np.int32),
        helpers=_helper_faces(data / "3dobjs" / "base.obj"),
        groups=_vertex_groups(data / "mesh_metadata" / "basemesh_vertex_groups.json"),
        keypoint_weights=regressor.to_dense().numpy().astype(np.float32),
    )


def make_person(shape: Mapping[str, float]) -> Person:
    """Make one body.

    Parameters
    ----------
    shape : mapping
        Anny's phenotype: gender, age, muscle, weight, height, proportions; each 0–1.

    Returns
    -------
    Person
    """
    import torch

    shared = topology()
    with torch.no_grad():
        out = _model()(
            phenotype_kwargs={name: torch.tensor([value]) for name, value in shape.items()}
        )
    vertices = out["rest_vertices"][0].numpy().astype(np.float32)
    heads = out["rest_bone_heads"][0].numpy().astype(np.float32)
    return Person(shared, shared.symmetric(heads), vertices, dict(shape))
