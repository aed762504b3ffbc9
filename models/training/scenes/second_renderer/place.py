"""Where the second renderer's pairs are: mat, floor, walls, things, and real light."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from .materials import Nodes, building_material, mat_material

_WALLS = ("brick", "plaster", "wood", "concrete", "padding")


def build_place(rng: np.random.Generator, centre: Sequence[float], reach: float) -> None:
    """Build a place around the pair: a room with lamps, one with a window side, or outdoors.

    Parameters
    ----------
    rng : numpy Generator
    centre : sequence of float
        Middle of the pair, metres.
    reach : float
        How far away the farthest camera is: no wall stands nearer.
    """
    middle = np.array([centre[0], centre[1], 0.0])
    kind = str(rng.choice(("lamps", "window", "outdoors"), p=(0.5, 0.3, 0.2)))
    _floor(rng, middle, "grass" if kind == "outdoors" else str(rng.choice(("wood", "concrete"))))
    if kind == "outdoors":
        _sky(rng, float(rng.uniform(0.03, 0.12)))
    else:
        half = np.maximum(rng.uniform(4.5, 9.0, 2), reach)
        height = float(rng.uniform(2.8, 5.5))
        turn = float(rng.uniform(0, np.pi))
        open_side = int(rng.integers(4)) if kind == "window" else -1
        _walls(rng, middle, half, height, turn, open_side)
        if kind == "window":
            _sky(rng, float(rng.uniform(0.15, 0.5)))
        else:
            _dim_world(rng)
        _lamps(rng, middle, half, height, 0.3 if kind == "window" else 1.0)
    for _ in range(int(rng.integers(0, 7))):
        _thing(rng, middle)


def _floor(rng: np.random.Generator, middle: np.ndarray, kind: str) -> None:
    _box(_raised(middle, -0.06), (40, 40, 0.02), 0.0, building_material(rng, kind))
    side = rng.uniform(2.5, 5.0, 2)
    shift = np.array([*rng.normal(0, 0.5, 2), -0.02])
    _box(middle + shift, (*side, 0.0195), float(rng.uniform(0, np.pi)), mat_material(rng))


def _walls(
    rng: np.random.Generator,
    middle: np.ndarray,
    half: np.ndarray,
    height: float,
    turn: float,
    open_side: int,
) -> None:
    material = building_material(rng, str(rng.choice(_WALLS)))
    other = building_material(rng, str(rng.choice(_WALLS)))
    shift = np.array([*rng.uniform(-1.5, 1.5, 2), 0])
    for side in range(4):
        if side == open_side:
            continue
        a = turn + side * np.pi / 2
        out = np.array([np.cos(a), np.sin(a), 0]) * (half[side % 2] + 2.0)
        lower = 1.2 if rng.random() < 0.4 else height / 2  # a dado, or one face
        at = middle + shift + out
        wide = float(half[(side + 1) % 2]) + 4.5
        _box(_raised(at, height / 2), (0.1, wide, height / 2), a, material)
        _box(_raised(at, lower / 2), (0.13, wide, lower / 2), a, other)


def _lamps(
    rng: np.random.Generator, middle: np.ndarray, half: np.ndarray, height: float, share: float
) -> None:
    import bpy

    count = int(rng.integers(1, 6))
    warm = rng.uniform(0, 1)
    total = share * float(np.exp(rng.normal(np.log(450), 0.4))) * (height / 3.5) ** 2
    for _ in range(count):
        light = bpy.data.lights.new("lamp", "AREA")
        light.shape = str(rng.choice(("SQUARE", "RECTANGLE", "DISK")))
        light.size, light.size_y = float(rng.uniform(0.3, 2.0)), float(rng.uniform(0.2, 1.5))
        light.energy = total / count
        light.color = (1, 1 - 0.18 * warm, 1 - 0.4 * warm)
        lamp = bpy.data.objects.new("lamp", light)
        away = rng.uniform(-0.8, 0.8, 2) * half
        lamp.location = middle + np.array([*away, height - 0.1])
        lamp.rotation_euler = (*rng.normal(0, 0.25, 2), float(rng.uniform(0, np.pi)))
        bpy.context.scene.collection.objects.link(lamp)


def _sky(rng: np.random.Generator, strength: float) -> None:
    tree = _world_nodes()
    sky = tree.nodes.new("ShaderNodeTexSky")
    sky.sky_type = "NISHITA"
    sky.sun_elevation = float(rng.uniform(0.15, 1.3))
    sky.sun_rotation = float(rng.uniform(0, 2 * np.pi))
    sky.sun_disc = bool(rng.random() < 0.6)
    sky.sun_size = float(rng.uniform(0.01, 0.15))
    sky.dust_density, sky.air_density = rng.uniform(0.5, 6, 2).tolist()
    tree.links.new(sky.outputs[0], tree.nodes["Background"].inputs["Color"])
    tree.nodes["Background"].inputs["Strength"].default_value = strength


def _dim_world(rng: np.random.Generator) -> None:
    background = _world_nodes().nodes["Background"]
    background.inputs["Color"].default_value = (*rng.uniform(0.7, 1.0, 3), 1)
    background.inputs["Strength"].default_value = float(rng.uniform(0.1, 0.7))


def _world_nodes() -> Any:
    import bpy

    world = bpy.data.worlds.new("world")
    world.use_nodes = True
    bpy.context.scene.world = world
    return world.node_tree


def _thing(rng: np.random.Generator, middle: np.ndarray) -> None:
    """A box, barrel, ball or bag beside the mat."""
    import bpy

    a, away = rng.uniform(0, 2 * np.pi), rng.uniform(3.0, 7.5)
    size = rng.uniform(0.15, 0.6, 3)
    at = middle + away * np.array([np.cos(a), np.sin(a), 0]) + np.array([0, 0, size[2] - 0.04])
    made = Nodes("thing")
    made.set(Base_Color=(*rng.uniform(0.01, 0.7, 3), 1), Roughness=float(rng.uniform(0.1, 0.9)),
             Metallic=float(rng.random() < 0.15))  # fmt: skip
    kind = int(rng.integers(3))
    if kind == 0:
        _box(at, size, float(a), made.material)
        return
    if kind == 1:
        bpy.ops.mesh.primitive_cylinder_add(radius=size[0], depth=2 * size[2], location=at)
    else:
        bpy.ops.mesh.primitive_uv_sphere_add(radius=size[0], location=(at[0], at[1], size[0]))
    bpy.context.object.data.shade_smooth()
    bpy.context.object.data.materials.append(made.material)


def _box(at: np.ndarray, half: Any, turn: float, material: Any) -> None:
    import bpy

    bpy.ops.mesh.primitive_cube_add(size=2, location=at, rotation=(0, 0, turn))
    bpy.context.object.scale = half
    bpy.context.object.data.materials.append(material)


def _raised(at: np.ndarray, by: float) -> np.ndarray:
    return at + np.array([0.0, 0.0, by])
