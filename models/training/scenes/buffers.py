"""What lies in graphics memory: figures to draw, and the frame buffers they are drawn into."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from .clothing import SHELLS_SHORT, Look, LookSlot
from .figures import Figure, Kind
from .programs import Material

MATERIALS = {
    "skin": Material.SKIN, "skin_gi": Material.SKIN, "scalp": Material.HAIR, "bun": Material.HAIR,
    "tail": Material.HAIR, "trousers": Material.CLOTH, "jacket": Material.CLOTH,
    "belt": Material.CLOTH,
}  # fmt: skip
TRIANGLES_OF = tuple(MATERIALS)


@dataclass(frozen=True)
class FigureBuffers:
    """A figure's buffers on the GPU."""

    figure: Figure
    vertices: Any
    indices: Any
    parts: Mapping[str, tuple[int, int]]
    run_ends: Mapping[str, int]

    @classmethod
    def make(cls, gl: Any, figure: Figure) -> FigureBuffers:
        """Put a figure there."""
        ordered = [figure.faces[name].ravel() for name in TRIANGLES_OF]
        ends = np.cumsum([len(f) for f in ordered])
        parts = {
            n: (int(e - len(f)), len(f))
            for n, f, e in zip(TRIANGLES_OF, ordered, ends, strict=True)
        }
        kind = figure.vertices["kind"]
        last = lambda k: int(np.nonzero(kind == k)[0].max()) + 1  # noqa: E731
        return cls(
            figure=figure,
            vertices=gl.buffer(figure.vertices.tobytes()),
            indices=gl.buffer(np.concatenate(ordered).astype("u4").tobytes()),
            parts=parts,
            run_ends={"skin": last(Kind.TAIL), "trousers": last(Kind.TROUSERS), "all": len(kind)},
        )

    def posed_vertices(self, look: Look) -> int:
        """How many of the vertices this look needs."""
        if look.gi:
            return self.run_ends["all"]
        return self.run_ends["trousers" if look.loose_trousers else "skin"]


@dataclass(frozen=True)
class Target:
    """Frame buffers of one picture size."""

    size: tuple[int, int]
    multi: Any
    single: Any
    scene: Any
    film: Any
    labels: Any
    depth: Any

    @classmethod
    def make(cls, gl: Any, size: tuple[int, int], samples: int) -> Target:
        """Make them for pictures of width, height, with so many samples a pixel."""
        colour = gl.renderbuffer(size, 4, samples=samples)
        multi = gl.framebuffer([colour], gl.depth_renderbuffer(size, samples=samples))
        scene = gl.texture(size, 4)
        scene.repeat_x = scene.repeat_y = False
        depth = gl.depth_texture(size)
        return cls(
            size=size,
            multi=multi,
            single=gl.framebuffer([scene]),
            scene=scene,
            film=gl.framebuffer([gl.renderbuffer(size, 4)]),
            labels=gl.framebuffer([gl.renderbuffer(size, 1)], depth),
            depth=depth,
        )

    def read(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Return picture (H, W, 3) and labels (H, W), uint8, and depth (H, W), 0 near to 1 far."""
        w, h = self.size
        rgb = np.frombuffer(self.film.read(components=3, alignment=1), np.uint8)
        labels = np.frombuffer(self.labels.read(components=1, alignment=1), np.uint8)
        depth = np.frombuffer(self.labels.read(components=1, attachment=-1, dtype="f4"), np.float32)
        return (
            np.ascontiguousarray(rgb.reshape(h, w, 3)[::-1]),
            labels.reshape(h, w)[::-1],
            depth.reshape(h, w)[::-1],
        )


def parts_of(look: Look) -> list[tuple[str, int]]:
    """Triangles a look is drawn from, each with its number of hair shells (0: solid)."""
    parts = [("skin_gi" if look.gi else "skin", 0)]
    if look.gi:
        parts += [("trousers", 0), ("jacket", 0), ("belt", 0)]
    elif look.loose_trousers:
        parts.append(("trousers", 0))
    if look.hair_length > 0:
        parts.append(("scalp", SHELLS_SHORT if look.hair_length < 0.02 else 2 * SHELLS_SHORT))
    if look.bun:
        parts.append(("bun", 0))
    if look.tail > 0:
        parts.append(("tail", 0))
    return parts


def look_block(look: Look, figure: Figure) -> np.ndarray:
    """Return the rows that the shaders read of a look on a figure, float32, (rows, 4)."""
    block = look.slots.copy()
    middle = float(figure.vertices["rest"][: figure.skin_size, 1].mean())
    block[LookSlot.PERSON] = figure.eyes[2], figure.eyes[1], figure.belt_height, middle
    return block.astype("f4")
