"""Parts of a scene as Blender objects: finer, thickened cloth; strands of hair."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from ..triangles import split_in_four
from .materials import make_material
from .scene_file import Part

_CLOTH_THICKNESS_M = {"gi": 0.004, "belt": 0.005, "tight": 0.0015, "loose": 0.002}


def add_part(rng: np.random.Generator, part: Part) -> None:
    """Put one part into the scene that is open."""
    import bpy

    if part.kind == "strands":
        data = _strands(rng, part)
    else:
        if part.kind in _CLOTH_THICKNESS_M:
            part = refined(part)
        data = bpy.data.meshes.new(part.kind)
        data.from_pydata(part.vertices.tolist(), [], part.faces.tolist())
        data.shade_smooth()
        rest = data.attributes.new("rest", "FLOAT_VECTOR", "POINT")
        rest.data.foreach_set("vector", part.rest.astype(np.float32).ravel())
        crease = data.attributes.new("crease", "FLOAT", "POINT")
        crease.data.foreach_set("value", part.crease.astype(np.float32))
    data.materials.append(make_material(rng, part))
    thing = bpy.data.objects.new(part.kind, data)
    thing.pass_index = part.label
    bpy.context.scene.collection.objects.link(thing)
    if part.kind in _CLOTH_THICKNESS_M:
        _thicken(thing, part)


def refined(part: Part) -> Part:
    """Split every triangle in four, so that folds have something to bend."""
    edges, faces = split_in_four(part.faces, len(part.vertices))

    def with_middles(rows: np.ndarray) -> np.ndarray:
        return np.concatenate([rows, rows[edges].mean(1)])

    return replace(
        part,
        vertices=with_middles(part.vertices),
        rest=with_middles(part.rest),
        crease=with_middles(part.crease),
        faces=faces,
    )


def _thicken(thing: Any, part: Part) -> None:
    solid = thing.modifiers.new("thick", "SOLIDIFY")
    solid.thickness, solid.offset = _CLOTH_THICKNESS_M[part.kind], 1.0


def _strands(rng: np.random.Generator, part: Part) -> Any:
    import bpy

    count, knots = part.vertices.shape[:2]
    data = bpy.data.hair_curves.new("strands")
    data.add_curves([knots] * count)
    data.attributes["position"].data.foreach_set("vector", part.vertices.ravel())
    radius = data.attributes.get("radius") or data.attributes.new("radius", "FLOAT", "POINT")
    thin = np.linspace(1, 0.3, knots) * rng.uniform(0.0006, 0.0012)
    radius.data.foreach_set("value", np.tile(thin, count).astype(np.float32))
    return data
