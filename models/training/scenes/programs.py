"""The shaders, compiled: one program for each pass and material, all on the same bindings."""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import IntEnum
from functools import lru_cache
from importlib.resources import files
from typing import Any

import numpy as np

from pipeline.errors import MatlineError

from .clothing import LookSlot
from .figures import Kind
from .scenery import Surface
from .surroundings import FloorSlot

MAX_BONES = 128
MAX_BALLS = 256
SHADOW_SIDE = 1024

# Where the shaders find textures and blocks of numbers.
UNITS = {
    "noise_volume": 0, "photos": 1, "shadow_map": 2, "contact": 3, "backdrop": 4, "sprites": 5,
    "scene": 6,
}  # fmt: skip
BLOCKS = {"Bones": 0, "Balls": 1, "Look": 2, "Floor": 3, "Light": 4}


class Material(IntEnum):
    """Each has its own shaders, so that none carries the others' branches."""

    SKIN = 0
    CLOTH = 1
    HAIR = 2


_FIGURE_PASSES = {
    "colour": "figure.frag", "label": "figure_identity.frag", "shadow": "figure_depth.frag",
}  # fmt: skip


@dataclass(frozen=True)
class Programs:
    """All programs of a renderer.

    Attributes
    ----------
    pose : program
        Skins vertices into a buffer.
    figures : dict
        By pass ("colour", "label", "shadow") and `Material`.
    with_shells : set
        Those of `figures` that draw hair in layers.
    floor, walls, scenery_label, backdrop, contact, film : program
    """

    pose: Any
    figures: dict[tuple[str, Material], Any]
    with_shells: set[tuple[str, Material]]
    floor: Any
    walls: Any
    scenery_label: Any
    backdrop: Any
    contact: Any
    film: Any


def compile_programs(gl: Any) -> Programs:
    """Compile every shader in a context and bind its textures and blocks."""

    def program(vertex: str, fragment: str | None = None, **variant: int) -> Any:
        parts: dict[str, Any] = {"vertex_shader": _source(vertex, **variant)}
        if fragment:
            parts["fragment_shader"] = _source(fragment, **variant)
        else:
            parts["varyings"] = ("position", "direction", "openness")
        made = gl.program(**parts)
        for name, unit in UNITS.items():
            if name in made:
                made[name].value = unit
        for name, binding in BLOCKS.items():
            if name in made:
                made[name].binding = binding
        return made

    figures = {
        (work, material): program("figure.vert", shader, MATERIAL=int(material))
        for work, shader in _FIGURE_PASSES.items()
        for material in Material
    }
    return Programs(
        pose=program("pose.vert"),
        figures=figures,
        with_shells={key for key, p in figures.items() if "shells" in p},
        floor=program("scenery.vert", "scenery.frag", ONLY_FLOOR=1),
        walls=program("scenery.vert", "scenery.frag", ONLY_FLOOR=0),
        scenery_label=program("scenery.vert", "scenery_identity.frag"),
        backdrop=program("screen.vert", "backdrop.frag"),
        contact=program("screen.vert", "contact.frag"),
        film=program("screen.vert", "film.frag"),
    )


def make_context(device: int | None) -> Any:
    """An OpenGL 3.3 context through EGL, on a GPU by number or the first there is."""
    try:
        import moderngl
    except ImportError as error:
        raise MatlineError(
            "Rendering needs moderngl, which is not installed: run pip install 'matline[training]'."
        ) from error
    extra: dict[str, Any] = {"backend": "egl"}
    if device is not None:
        extra["device_index"] = device
    try:
        return moderngl.create_context(require=330, standalone=True, **extra)
    except Exception as error:  # moderngl raises plain Exceptions for a missing libEGL
        raise MatlineError(
            f"No OpenGL 3.3 context through EGL ({error}): install an EGL driver "
            "(Debian: libegl1 and libgl1-mesa-dri), or the GPU's own."
        ) from error


def used(program: Any, layout: list[tuple[Any, ...]]) -> list[tuple[Any, ...]]:
    """Replace attributes that a program lacks by padding."""
    out = []
    for buffer, form, *names in layout:
        kinds, rest, kept = form.split(), list(names), []
        for i, kind in enumerate(kinds):
            if kind.endswith("x"):
                continue
            name = rest.pop(0)
            if name in program:
                kept.append(name)
            else:
                kinds[i] = f"{4 * int(kind[0])}x"
        if kept:
            out.append((buffer, " ".join(kinds), *kept))
    return out


@lru_cache(maxsize=64)
def _source(name: str, **variant: int) -> str:
    """A shader with its includes and the numbers it shares with Python."""
    folder = files(__package__) / "shaders"
    include = re.compile(r"^#include (\w+)$", re.MULTILINE)
    text = (folder / name).read_text()
    while include.search(text):
        text = include.sub(lambda m: (folder / f"{m[1]}.glsl").read_text(), text)
    shared: dict[str, object] = {
        "MAX_BONES": MAX_BONES, "MAX_BALLS": MAX_BALLS, "LOOK_SLOTS": len(LookSlot),
        "FLOOR_SLOTS": len(FloorSlot), "SHADOW_BLUR": f"{1.1 / SHADOW_SIDE:.8f}",
        "TAIL_HAIR": int(Kind.TAIL), "BELT_ENDS": int(Kind.BELT),
    }  # fmt: skip
    kinds = {k.name: int(k) for k in Kind if k not in (Kind.TAIL, Kind.BELT)}
    if name.startswith("scenery"):
        shared |= {s.name: int(s) for s in FloorSlot} | {s.name: int(s) for s in Surface}
    else:
        shared |= kinds | {s.name: int(s) for s in LookSlot}
    shared |= {f"{m.name}_MATERIAL": int(m) for m in Material} | variant
    defines = "".join(f"#define {key} {value}\n" for key, value in shared.items())
    return f"#version 330\n{defines}{text}"


def noise_volume(side: int = 32, seed: int = 7) -> np.ndarray:
    """Smooth repeating noise, uint8 (side, side, side, 4): gradient in RGB, value in A."""
    from scipy import ndimage

    rng = np.random.default_rng(seed)
    value = ndimage.gaussian_filter(rng.random((side,) * 3), 0.7, mode="wrap")
    value = (value - value.mean()) / value.std() * 0.18 + 0.5
    gradient = [(np.roll(value, -1, axis) - np.roll(value, 1, axis)) / 2 for axis in (2, 1, 0)]
    packed = np.stack([*(g / 4.0 + 0.5 for g in gradient), value], -1)
    return (np.clip(packed, 0, 1) * 255).astype(np.uint8)
