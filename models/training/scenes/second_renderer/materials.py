"""Materials made of Blender's nodes: scattering skin, woven and printed cloth, hair, buildings."""

from __future__ import annotations

from typing import Any

import numpy as np

from .scene_file import Part

_FOLDS_M = {"gi": 0.026, "loose": 0.022, "tight": 0.004, "belt": 0.004}
"""From the deepest fold to the highest."""
_PRINTS = ("plain", "plain", "plain", "noise", "voronoi", "wave", "checker", "magic")


class Nodes:
    """A material under construction: few words for the nodes that are used again and again.

    Parameters
    ----------
    name : str
    """

    def __init__(self, name: str) -> None:
        import bpy

        self.material = bpy.data.materials.new(name)
        self.material.use_nodes = True
        self._tree = self.material.node_tree
        self.surface = self._tree.nodes["Principled BSDF"]

    def node(self, kind: str, **inputs: Any) -> Any:
        """Add a node (``ShaderNode`` left out of its name); sockets become links, values values."""
        made = self._tree.nodes.new(f"ShaderNode{kind}")
        for name, value in inputs.items():
            self.put(made.inputs[name.replace("_", " ")], value)
        return made

    def put(self, socket: Any, value: Any) -> None:
        """Set a node's input to a value, or link another node's output to it."""
        if hasattr(value, "is_output"):
            self._tree.links.new(value, socket)
        else:
            socket.default_value = value

    def set(self, **inputs: Any) -> None:
        """Set inputs of the surface."""
        for name, value in inputs.items():
            self.put(self.surface.inputs[name.replace("_", " ")], value)

    def where(self, rest: bool) -> Any:
        """Coordinates: of the body at rest, or of the world."""
        if not rest:
            return self.node("NewGeometry").outputs["Position"]
        made = self.node("Attribute")
        made.attribute_name = "rest"
        return made.outputs["Vector"]

    def mixed(self, factor: Any, a: Any, b: Any) -> Any:
        """Mix two colours, each of three or a socket."""
        made = self.node("MixRGB", Fac=factor)
        for name, colour in (("Color1", a), ("Color2", b)):
            self.put(made.inputs[name], colour if hasattr(colour, "is_output") else (*colour, 1))
        return made.outputs[0]

    def noise(self, at: Any, scale: float, detail: float = 2.0) -> Any:
        """Noise, 0..1."""
        return self.node("TexNoise", Vector=at, Scale=scale, Detail=detail).outputs["Fac"]

    def bump(self, height: Any, metres: float, strength: float = 1.0) -> None:
        """Let the surface look uneven."""
        made = self.node("Bump", Height=height, Distance=metres, Strength=strength)
        self.set(Normal=made.outputs[0])

    def relief(self, height: Any, middle: float, metres: Any) -> None:
        """Move the surface itself."""
        made = self.node("Displacement", Height=height, Midlevel=middle, Scale=metres)
        out = self._tree.nodes["Material Output"]
        self.put(out.inputs["Displacement"], made.outputs[0])
        self.material.displacement_method = "BOTH"


def make_material(rng: np.random.Generator, part: Part) -> Any:
    """Return the material of one part of a person."""
    made = Nodes(part.kind)
    if part.kind == "skin":
        _skin(rng, made, part)
    elif part.kind == "eye":
        made.set(Base_Color=(*part.second, 1), Roughness=0.1)
    elif part.kind in ("strands", "scalp"):
        made.set(Base_Color=(*part.colour, 1), Roughness=0.45, Anisotropic=0.7)
    elif part.kind in ("gi", "belt"):
        _woven(rng, made, part)
    else:
        _printed(rng, made, part)
    if part.kind in _FOLDS_M:
        _fold(rng, made, _FOLDS_M[part.kind] * float(rng.uniform(0.7, 1.4)))
    return made.material


def _fold(rng: np.random.Generator, made: Nodes, metres: float) -> None:
    """Folds as real relief: broad waves everywhere, sharp creases where joints bend the cloth."""
    at = made.where(rest=False)
    broad = made.noise(at, float(rng.uniform(7, 14)), 3.0)
    sharp = made.node("TexWave", Vector=at, Scale=float(rng.uniform(2.5, 5)), Distortion=6.0)
    crease = made.node("Attribute")
    crease.attribute_name = "crease"
    bent = made.node("Math")
    bent.operation = "MULTIPLY"
    made.put(bent.inputs[0], crease.outputs["Fac"])
    bent.inputs[1].default_value = 0.6
    height = made.mixed(bent.outputs[0], broad, sharp.outputs["Fac"])
    made.relief(height, 0.4, metres)


def _skin(rng: np.random.Generator, made: Nodes, part: Part) -> None:
    at = made.where(rest=True)
    made.surface.subsurface_method = "BURLEY"  # a random walk takes twice the time
    r, g, b = part.colour
    blotch = made.noise(at, float(rng.uniform(9, 20)))
    redder = (min(1.15 * r, 1), 0.78 * g, 0.74 * b)
    made.set(
        Base_Color=made.mixed(blotch, part.colour, redder),
        Subsurface_Weight=0.25, Subsurface_Radius=(1.0, 0.35, 0.2), Subsurface_Scale=0.012,
        Roughness=float(rng.uniform(0.3, 0.6)), Coat_Weight=float(rng.uniform(0, 0.25)),
    )  # fmt: skip
    made.bump(made.noise(at, 260, 2), 0.0012, 0.6)


def _woven(rng: np.random.Generator, made: Nodes, part: Part) -> None:
    at = made.where(rest=True)
    worn = made.noise(at, float(rng.uniform(4, 12)))
    faded = tuple(0.75 * c + 0.04 for c in part.colour)
    made.set(Base_Color=made.mixed(worn, part.colour, faded), Roughness=0.95, Sheen_Weight=0.35)
    weave = made.node("TexVoronoi", Vector=at, Scale=float(rng.uniform(220, 420)))
    made.bump(weave.outputs["Distance"], 0.003, 0.7)


def _printed(rng: np.random.Generator, made: Nodes, part: Part) -> None:
    at = made.where(rest=True)
    colour: Any = (*part.colour, 1)
    print_ = str(rng.choice(_PRINTS))
    scale = float(rng.uniform(3, 14))
    if print_ != "plain":
        kinds = {"noise": "TexNoise", "voronoi": "TexVoronoi", "wave": "TexWave",
                 "checker": "TexChecker", "magic": "TexMagic"}  # fmt: skip
        outputs = {"voronoi": "Distance"}
        pattern = made.node(kinds[print_], Vector=at, Scale=scale)
        steep = made.node("ValToRGB", Fac=pattern.outputs[outputs.get(print_, "Fac")])
        steep.color_ramp.elements[0].position = 0.45
        steep.color_ramp.elements[1].position = float(rng.uniform(0.5, 0.7))
        colour = made.mixed(steep.outputs[0], part.colour, part.second)
    tight = part.kind == "tight"
    made.set(Base_Color=colour, Roughness=float(rng.uniform(0.35, 0.6) if tight else 0.85),
             Sheen_Weight=0.0 if tight else 0.2)  # fmt: skip


def building_material(rng: np.random.Generator, kind: str) -> Any:
    """Return a material of the place: brick, plaster, wood, concrete, grass or padding."""
    made = Nodes(kind)
    at = made.where(rest=False)
    a, b = rng.uniform(0.05, 0.75, (2, 3)) ** 1.3
    a, b = a * 0.4 + a.mean() * 0.6, b * 0.4 + b.mean() * 0.6  # buildings are rather grey
    if kind == "brick":
        wall = made.node("TexBrick", Vector=_upright(made, at), Scale=float(rng.uniform(1.5, 4)))
        for name, colour in (("Color1", a), ("Color2", 0.8 * a), ("Mortar", b)):
            wall.inputs[name].default_value = (*colour, 1)
        made.set(Base_Color=wall.outputs["Color"], Roughness=0.9)
        made.bump(wall.outputs["Fac"], -0.01)
        return made.material
    if kind == "wood":
        tree = rng.uniform((0.2, 0.1, 0.04), (0.55, 0.33, 0.16))
        grain = made.node("TexWave", Vector=at, Scale=1.3, Distortion=9.0, Detail=3.0)
        made.set(Base_Color=made.mixed(grain.outputs["Fac"], tree, 0.6 * tree), Roughness=0.35)
        return made.material
    if kind == "grass":
        a, b = np.array([0.05, 0.12, 0.02]), np.array([0.12, 0.16, 0.05])
    rough = made.noise(at, float(rng.uniform(1, 6)) * (10 if kind == "grass" else 1), 3.0)
    made.set(Base_Color=made.mixed(rough, a, b if kind == "grass" else 0.75 * a), Roughness=0.8)
    made.bump(rough, 0.01)
    return made.material


def mat_material(rng: np.random.Generator) -> Any:
    """Return a mat of tiles or strips with seams, dulled where it is worn."""
    made = Nodes("mat")
    at = made.where(rest=False)
    first = rng.uniform(0.01, 0.5, 3) ** 1.4
    second = first if rng.random() < 0.5 else rng.uniform(0.01, 0.5, 3) ** 1.4
    turn = made.node("Mapping", Vector=at, Rotation=(0, 0, float(rng.uniform(0, np.pi))))
    tiles = made.node(
        "TexBrick", Vector=turn.outputs[0], Scale=1.0, Mortar_Size=float(rng.uniform(0.002, 0.008)),
        Brick_Width=float(rng.choice((1.0, 2.0))), Row_Height=1.0,
        Color1=(*first, 1), Color2=(*second, 1), Mortar=(*(0.4 * first), 1),
    )  # fmt: skip
    tiles.offset = float(rng.choice((0.0, 0.5)))
    worn = made.noise(at, float(rng.uniform(0.7, 3)), 3.0)
    colour = made.mixed(worn, tiles.outputs["Color"], np.minimum(0.7 * first + 0.03, 1))
    made.set(Base_Color=colour, Roughness=float(rng.uniform(0.35, 0.8)))
    made.bump(tiles.outputs["Fac"], -0.006)
    return made.material


def _upright(made: Nodes, at: Any) -> Any:
    """Lay a texture of the x–y plane on walls, whichever way they face."""
    parts = made.node("SeparateXYZ", Vector=at)
    along = made.node("Math")
    made.put(along.inputs[0], parts.outputs[0])
    made.put(along.inputs[1], parts.outputs[1])
    joined = made.node("CombineXYZ", X=along.outputs[0], Y=parts.outputs[2])
    return joined.outputs[0]
