"""Halls, furniture and crowds as painted rectangles."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field
from enum import IntEnum
from typing import NamedTuple

import numpy as np

FLOOR_VERTICES = 6
"""The floor's two triangles come first in a stage's scenery."""


FIRST_SPECTATOR, LAST_LABEL = 60, 250
"""Labels of cut-out spectators."""

SPRITE_SIZE = (128, 224)
SPRITE_HEIGHT_M = 2.1
"""Size of a cut-out spectator in pixels, and what its height spans."""


class Surface(IntEnum):
    """How the shader paints a piece of scenery."""

    PLAIN = 0
    FLOOR = 1
    CATCHER = 2  # a photograph's own floor: only shadows are drawn on it
    PHOTO = 3
    GLOW = 4
    PLASTER = 5
    BRICK = 6
    PADDING = 7
    SLATS = 8
    SPRITE = 9


# Linear mat colours as sold: blues, reds, greys, black, green, yellow, puzzle-mat brights.
MATS = np.array(
    [
        [0.02, 0.06, 0.26], [0.03, 0.13, 0.42], [0.01, 0.03, 0.10], [0.28, 0.03, 0.025],
        [0.45, 0.05, 0.03], [0.012, 0.012, 0.014], [0.05, 0.05, 0.055], [0.16, 0.16, 0.17],
        [0.36, 0.36, 0.37], [0.62, 0.62, 0.60], [0.02, 0.13, 0.06], [0.05, 0.25, 0.10],
        [0.60, 0.42, 0.03], [0.42, 0.28, 0.15], [0.70, 0.60, 0.42], [0.18, 0.05, 0.24],
    ]
)  # fmt: skip


def paint(rng: np.random.Generator, low: float = 0.01, high: float = 0.6) -> np.ndarray:
    """A colour that walls and things have: mostly greyish, now and then strong."""
    grey = rng.uniform(low, high)
    spread = rng.choice((0.06, 0.25, 0.9), p=(0.5, 0.35, 0.15))
    return np.clip(grey * (1 + rng.uniform(-spread, spread, 3)), 0.004, 0.9)


def tint(rng: np.random.Generator, strength: float = 1.0) -> np.ndarray:
    """A white from warm to cool, mean 1."""
    warm, green = rng.normal(0, 0.13) * strength, rng.normal(0, 0.03) * strength
    return np.array([1 + warm, 1 + green, 1 - warm])


class _Quad(NamedTuple):
    corner: np.ndarray
    right: np.ndarray
    up: np.ndarray
    colour: np.ndarray
    surface: Surface
    photo: float
    gloss: float
    uv: tuple[float, float]


@dataclass
class Scenery:
    """Collects quads and boxes of a hall and what stands in it.

    Parameters
    ----------
    rng : numpy Generator
    photos : int
        How many photographs are loaded for surfaces.
    """

    rng: np.random.Generator
    photos: int
    _quads: list[_Quad] = field(default_factory=list)
    _walls: list[_Wall] = field(default_factory=list)

    def array(self) -> np.ndarray:
        """All quads as triangles, float32, (6 n, 14); rows as in `Stage.scenery`."""
        column = lambda name: np.array([getattr(q, name) for q in self._quads], float)  # noqa: E731
        corner, right, up = column("corner"), column("right"), column("up")
        normal = np.cross(right, up)
        normal /= np.linalg.norm(normal, axis=1, keepdims=True)
        uv = column("uv")
        paint = np.column_stack([column("colour"), column("photo")])
        finish = np.column_stack([column("surface"), column("gloss")])
        flat = np.column_stack([normal, np.zeros((len(uv), 2)), paint, finish])
        corners = np.stack([corner, corner + right, corner + right + up, corner + up], 1)
        block = np.repeat(np.concatenate([np.zeros((len(uv), 3)), flat], 1)[:, None], 4, 1)
        block[..., :3] = corners
        block[..., 6] = uv[:, None, 0] * [0, 1, 1, 0]
        block[..., 7] = uv[:, None, 1] * [1, 1, 0, 0]
        return block[:, [0, 1, 2, 0, 2, 3]].reshape(-1, 14).astype(np.float32)

    def quad(
        self,
        corner: np.ndarray,
        right: np.ndarray,
        up: np.ndarray,
        colour: np.ndarray,
        surface: Surface,
        photo: float = 0.0,
        gloss: float = 0.02,
        uv: tuple[float, float] | None = None,
        both_sides: bool = False,
    ) -> None:
        """A rectangle; it faces ``right × up`` and is seen from that side only.

        `uv` is how far texture coordinates run: once over a photograph, else metres.
        """
        if uv is None:
            whole = surface in (Surface.PHOTO, Surface.SPRITE)
            uv = (1.0, 1.0) if whole else (float(right @ right) ** 0.5, float(up @ up) ** 0.5)
        self._quads.append(_Quad(corner, right, up, colour, surface, photo, gloss, uv))
        if both_sides:
            turned = _Quad(corner + right, -right, up, colour, surface, photo, gloss, uv)
            self._quads.append(turned)

    def box(self, low: np.ndarray, size: np.ndarray, turn: float, colour: np.ndarray) -> None:
        """An upright box standing on `low`'s height, turned about its middle."""
        c, s = np.cos(turn), np.sin(turn)
        x, y, z = (
            np.array([c, s, 0]) * size[0],
            np.array([-s, c, 0]) * size[1],
            np.array([0, 0, size[2]]),
        )
        o = low - (x + y) / 2
        for corner, right, up in ((o, x, z), (o + x, y, z), (o + x + y, -x, z), (o + y, -y, z),
                                  (o + z, x, y), (o + y, x, -y)):  # fmt: skip
            self.quad(corner, right, up, colour, Surface.PLAIN)

    def ground(self, centre: np.ndarray, surface: Surface) -> None:
        side = 45.0
        corner = np.array([centre[0] - side, centre[1] - side, 0.0])
        self.quad(
            corner, np.array([2 * side, 0, 0]), np.array([0, 2 * side, 0]), np.ones(3), surface
        )

    def hall(self, centre: np.ndarray, mat_half: float) -> None:
        """Four walls with what hangs on them, and a ceiling with lamps."""
        rng = self.rng
        half = rng.uniform(3.5, 9, 2) if rng.random() < 0.6 else rng.uniform(9, 25, 2)
        height = rng.uniform(2.6, 4.0) if half.max() < 9 else rng.uniform(4, 11)
        turn = rng.uniform(0, np.pi / 2)
        middle = centre[:2] + rng.uniform(-0.55, 0.55, 2) * (half - 2.5).clip(0)
        c, s = np.cos(turn), np.sin(turn)
        base = rng.uniform(0.1, 0.75) * (1 + rng.normal(0, 0.12, 3))
        kind = Surface(rng.choice([Surface.PLASTER, Surface.BRICK, Surface.SLATS, Surface.PHOTO],
                                  p=(0.55, 0.17, 0.12, 0.16)))  # fmt: skip
        photo = float(rng.integers(max(self.photos, 1)))
        padding = rng.uniform(0.8, 2.0) if rng.random() < 0.45 else 0.0
        pad_colour = MATS[rng.integers(len(MATS))]
        for k in range(4):
            along, out = half[k % 2], half[(k + 1) % 2]
            a = turn + k * np.pi / 2
            right, inward = (
                np.array([np.cos(a), np.sin(a), 0]),
                np.array([-np.sin(a), np.cos(a), 0]),
            )
            foot = np.array([*middle, 0]) - inward * out - right * along
            colour = base * rng.uniform(0.8, 1.15)
            scale = 0.4 if kind == Surface.PHOTO else 1.0
            far_end = foot + 2 * along * right
            self.quad(
                far_end, -2 * along * right, np.array([0, 0, height]), colour, kind, photo,
                uv=(2 * along * scale, height * scale),
            )  # fmt: skip
            wall = _Wall(foot, right, inward, 2 * along, height)
            if padding:
                self.on_wall(wall, 0, 0, 2 * along, padding, pad_colour, Surface.PADDING, 0.02)
            self._hang(wall)
            self._walls.append(wall)
        self._ceiling(middle, half, height, c, s)

    def on_wall(
        self, wall: _Wall, x: float, z: float, w: float, h: float,
        colour: np.ndarray, surface: Surface, lift: float, photo: float = 0.0,
    ) -> None:  # fmt: skip
        corner = wall.foot + wall.right * (x + w) + np.array([0, 0, z]) + wall.inward * lift
        self.quad(corner, -wall.right * w, np.array([0, 0, h]), colour, surface, photo)

    def _hang(self, wall: _Wall) -> None:
        """Windows, banners, posters, doors, mirrors."""
        rng = self.rng
        if rng.random() < 0.35:
            light = rng.uniform(0.8, 2.2) * tint(rng)
            w, h = rng.uniform(0.6, 2.2), min(rng.uniform(0.6, 2.0), wall.height * 0.5)
            z = rng.uniform(1.0, max(wall.height - h - 0.2, 1.05))
            for x in np.arange(rng.uniform(0.3, 1.5), wall.length - w, w + rng.uniform(0.3, 1.5)):
                self.on_wall(wall, x, z, w, h, light, Surface.GLOW, 0.03)
                self.on_wall(
                    wall, x + w / 2 - 0.03, z, 0.06, h, np.full(3, 0.3), Surface.PLAIN, 0.04
                )
        for _ in range(rng.integers(0, 6)):
            w, h = rng.uniform(0.3, 2.5), rng.uniform(0.3, 1.6)
            x, z = (
                rng.uniform(0, max(wall.length - w, 0.1)),
                rng.uniform(0.4, max(wall.height - h, 0.5)),
            )
            picture = rng.random() < 0.45
            colour = rng.uniform(0.5, 1.2, 3) if picture else paint(rng, 0.02, 0.8)
            surface = Surface.PHOTO if picture else Surface.PLAIN
            self.on_wall(
                wall, x, z, w, h, colour, surface, 0.05, float(rng.integers(max(self.photos, 1)))
            )
            if not picture:
                for i in range(rng.integers(0, 4)):  # stripes stand in for lettering
                    line, long = z + h * (0.15 + 0.22 * i), w * rng.uniform(0.3, 0.8)
                    ink = rng.uniform(0.02, 0.9, 3)
                    self.on_wall(wall, x + 0.1 * w, line, long, h * 0.1, ink, Surface.PLAIN, 0.06)
        if rng.random() < 0.3:
            x = rng.uniform(0, max(wall.length - 1, 0.1))
            self.on_wall(wall, x, 0, 0.95, 2.05, paint(rng, 0.02, 0.5), Surface.PLAIN, 0.06)

    def _ceiling(
        self, middle: np.ndarray, half: np.ndarray, height: float, c: float, s: float
    ) -> None:
        rng = self.rng
        x, y = np.array([c, s, 0]), np.array([-s, c, 0])
        o = np.array([*middle, height])
        colour = np.full(3, rng.uniform(0.1, 0.8))
        self.quad(
            o - x * half[0] + y * half[1],
            2 * half[0] * x,
            -2 * half[1] * y,
            colour,
            Surface.PLASTER,
        )
        light, w, h = (
            rng.uniform(1.2, 3.0) * tint(rng),
            rng.uniform(0.15, 0.6),
            rng.uniform(0.6, 1.6),
        )
        for i in np.arange(-half[0] + 1, half[0] - 1, rng.uniform(1.8, 3.5)):
            for j in np.arange(-half[1] + 1, half[1] - 1, rng.uniform(1.8, 3.5)):
                corner = o + x * i + y * j - np.array([0, 0, 0.03])
                self.quad(corner, w * x, -h * y, light, Surface.GLOW)

    def furniture(self, centre: np.ndarray) -> None:
        """Chairs in rows, tables, barriers, bags: things that stand around mats."""
        rng = self.rng
        if rng.random() < 0.35:
            self._row_of_chairs(centre)
        if rng.random() < 0.35:
            self._barrier(centre)
        for _ in range(rng.integers(0, 6)):
            size = np.array([rng.uniform(0.2, 1.4), rng.uniform(0.2, 0.8), rng.uniform(0.15, 1.8)])
            self.box(
                self._beside(centre, 2.6, 7.5),
                size,
                rng.uniform(0, np.pi),
                rng.uniform(0.01, 0.6, 3),
            )
        if rng.random() < 0.2:
            at, turn = self._beside(centre, 3, 6), rng.uniform(0, np.pi)
            self.box(at, np.array([1.6, 0.7, 0.74]), turn, paint(rng, 0.1))
            self.box(
                at + np.array([0, 0, 0.74]), np.array([0.6, 0.08, 0.4]), turn, np.full(3, 0.01)
            )

    def crowd(self, centre: np.ndarray, spectators: int, light: np.ndarray) -> None:
        """Rows of cut-out people who watch, lit by `light`, each with a label of their own."""
        rng, label = self.rng, FIRST_SPECTATOR
        width = SPRITE_HEIGHT_M * SPRITE_SIZE[0] / SPRITE_SIZE[1]
        for _ in range(rng.integers(1, 4)):
            start, along, back = self._line_of_watchers(centre)
            step = rng.uniform(0.5, 1.3)
            for row, i in itertools.product(range(rng.integers(1, 4)), range(rng.integers(2, 11))):
                at = start + back * 0.9 * row + along * (step * i + rng.uniform(-0.2, 0.2))
                at[2] = 0.4 * row
                if np.hypot(*(at - centre)[:2]) < 1.8 or label > LAST_LABEL:
                    continue
                self.quad(
                    at + along * width / 2, -along * width, np.array([0, 0, SPRITE_HEIGHT_M]),
                    light, Surface.SPRITE, float(rng.integers(spectators)), gloss=label,
                )  # fmt: skip
                label += 1

    def _line_of_watchers(self, centre: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Where a row starts, along what it stands, and where the next row is: before a wall."""
        rng = self.rng
        if self._walls:
            wall = self._walls[rng.integers(len(self._walls))]
            before = rng.uniform(0.4, 2.8)
            start = (
                wall.foot + wall.inward * before + wall.right * rng.uniform(0, wall.length * 0.7)
            )
            return start, wall.right, -wall.inward
        a, d = rng.uniform(0, 2 * np.pi), rng.uniform(3, 9)
        out, along = np.array([np.cos(a), np.sin(a), 0]), np.array([-np.sin(a), np.cos(a), 0])
        return np.array([*centre[:2], 0.0]) + out * d - along * 3, along, out

    def _beside(self, centre: np.ndarray, near: float, far: float) -> np.ndarray:
        a, d = self.rng.uniform(0, 2 * np.pi), self.rng.uniform(near, far)
        return np.array([centre[0] + d * np.cos(a), centre[1] + d * np.sin(a), 0.0])

    def _row_of_chairs(self, centre: np.ndarray) -> None:
        rng = self.rng
        a, d, colour = rng.uniform(0, 2 * np.pi), rng.uniform(3.2, 8), paint(rng)
        out, along = np.array([np.cos(a), np.sin(a), 0]), np.array([-np.sin(a), np.cos(a), 0])
        for row in range(rng.integers(1, 4)):
            for i in range(rng.integers(3, 12)):
                at = np.array([*centre[:2], 0]) + out * (d + 0.9 * row) + along * (0.56 * i - 2.5)
                self.box(at + np.array([0, 0, 0.42]), np.array([0.42, 0.42, 0.04]), a, colour)
                self.box(at + out * 0.2 + [0, 0, 0.46], np.array([0.04, 0.42, 0.42]), a, colour)
                self.box(at, np.array([0.34, 0.34, 0.42]), a, np.full(3, 0.03))

    def _barrier(self, centre: np.ndarray) -> None:
        rng = self.rng
        a, d, h = rng.uniform(0, 2 * np.pi), rng.uniform(2.8, 7), rng.uniform(0.5, 1.1)
        out, along = np.array([np.cos(a), np.sin(a), 0]), np.array([-np.sin(a), np.cos(a), 0])
        for i in range(-3, 4):
            foot = np.array([*centre[:2], 0]) + out * d + along * (1.5 * i)
            picture = rng.random() < 0.4
            self.quad(foot + along * 1.4, -along * 1.4, np.array([0, 0, h]), paint(rng, 0.05, 0.8),
                      Surface.PHOTO if picture else Surface.PLAIN,
                      float(rng.integers(max(self.photos, 1))), both_sides=True)  # fmt: skip


@dataclass(frozen=True)
class _Wall:
    foot: np.ndarray
    right: np.ndarray
    inward: np.ndarray
    length: float
    height: float
