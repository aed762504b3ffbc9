"""Where a bout takes place: mats, halls, furniture, light. Plain numbers; no OpenGL here."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np

from .scenery import MATS, Scenery, Surface, tint

SHADOW_REACH_M = 3.4
"""Half side of the square around the pair that the key light's shadows cover."""


class FloorSlot(IntEnum):
    """Rows of a floor: three of colour (linear) and one of something else."""

    AREA = 0  # centre x, y, half side of the matted square, turn in radians
    TILE = 1  # ..., side of a tile in metres
    TILE2 = 2  # ..., 1 for a chequered mat
    BORDER = 3  # ..., half side of the contest area
    LINE = 4  # ..., half width of the line around it
    RING = 5  # ..., radius of a ring, 0 for none
    GROUND = 6  # ..., kind of floor beyond the mat: plain, planks, concrete, photo, tiles
    SEAM = 7  # depth of seams, stains, gloss, photo


@dataclass(frozen=True)
class Lighting:
    """Directions are unit vectors towards the light; colours are linear."""

    key_direction: np.ndarray
    key_colour: np.ndarray
    fill_direction: np.ndarray
    fill_colour: np.ndarray
    sky: np.ndarray
    ground: np.ndarray
    gain: np.ndarray

    def clip(self, centre: np.ndarray) -> np.ndarray:
        """World to the shadow map's clip space, (4, 4): an orthographic box around `centre`."""
        towards = self.key_direction
        side = np.cross([0.0, 1.0, 0.01], towards)
        side /= np.linalg.norm(side)
        view = np.eye(4)
        view[:3, :3] = np.stack([side, np.cross(towards, side), towards])
        view[:3, 3] = -view[:3, :3] @ centre
        r = SHADOW_REACH_M
        return np.diag([1 / r, 1 / r, -1 / (2 * r), 1.0]) @ view


@dataclass(frozen=True)
class Stage:
    """All that is in a scene but people.

    Attributes
    ----------
    floor : ndarray, float32, (len(FloorSlot), 4)
    scenery : ndarray, float32, (n, 14)
        Triangles: position, normal, uv, colour with photo, surface with gloss.
    lighting : Lighting
    centre : ndarray, (3,)
        Middle of the pair.
    contact_area : tuple of float
        Centre x, y, half side (m) and strength of the darkening under bodies.
    backdrop : int or None
        A photograph instead of a hall.
    void : tuple of float
        Colour beyond everything.
    """

    floor: np.ndarray
    scenery: np.ndarray
    lighting: Lighting
    centre: np.ndarray
    contact_area: tuple[float, float, float, float]
    backdrop: int | None
    void: tuple[float, float, float]


def random_stage(
    rng: np.random.Generator,
    centre: np.ndarray,
    photos: int,
    backdrops: int,
    spectators: int = 0,
) -> Stage:
    """Draw mats, a hall and its light around a pair.

    Parameters
    ----------
    rng : numpy Generator
    centre : ndarray, (3,)
        Middle of the pair, metres.
    photos, backdrops : int
        How many photographs for surfaces, and to stand behind a pair, are loaded.
    spectators : int
        How many cut-out spectators are loaded.

    Returns
    -------
    Stage
        One in three stands before a photograph, if there is any.
    """
    before_photo = backdrops > 0 and rng.random() < 0.33
    floor, lighting = _floor(rng, centre, photos), _lighting(rng)
    build = Scenery(rng, photos)
    if before_photo:
        if rng.random() < 0.55:
            floor[FloorSlot.AREA, 2] = 0.0
        build.ground(centre, Surface.CATCHER)
    else:
        build.ground(centre, Surface.FLOOR)
        if rng.random() < 0.9:
            build.hall(centre, floor[FloorSlot.AREA, 2])
        build.furniture(centre)
        if spectators and rng.random() < 0.35:
            light = (0.7 * lighting.sky + 0.35 * lighting.key_colour) * rng.uniform(0.5, 1.1)
            build.crowd(centre, spectators, light)
    return Stage(
        floor=floor,
        scenery=build.array(),
        lighting=lighting,
        centre=np.array([centre[0], centre[1], 0.6]),
        contact_area=(float(centre[0]), float(centre[1]), 4.0, float(rng.uniform(0.6, 1.0))),
        backdrop=int(rng.integers(backdrops)) if before_photo else None,
        void=tuple(
            rng.uniform(0.05, 0.95, 3) if rng.random() < 0.3 else [rng.uniform(0.1, 0.9)] * 3
        ),
    )


def _floor(rng: np.random.Generator, centre: np.ndarray, photos: int) -> np.ndarray:
    S = FloorSlot
    floor = np.zeros((len(FloorSlot), 4), np.float32)
    half = rng.uniform(2.5, 12)
    away = rng.uniform(-0.6, 0.6, 2) * max(half - 1.5, 0)
    floor[S.AREA] = *(centre[:2] + away), half, rng.uniform(0, np.pi / 2)
    jitter = lambda: rng.uniform(0.7, 1.3) * rng.uniform(0.9, 1.1, 3)  # noqa: E731
    mats = MATS[rng.integers(len(MATS), size=3)]
    grey = mats.mean(1, keepdims=True)  # worn and dusty: less strong than in the shop
    first, second, border = (grey + (mats - grey) * rng.uniform(0.55, 1.0)) * 0.85
    floor[S.TILE] = *(first * jitter()), rng.choice((0.5, 1.0, 1.0, 2.0, 6.0))
    floor[S.TILE2] = *(second * jitter()), float(rng.random() < 0.3)
    contest = rng.uniform(2.0, 5.0) if rng.random() < 0.55 else 50.0
    floor[S.BORDER] = *(border * jitter()), contest
    floor[S.LINE] = *MATS[rng.integers(len(MATS))], rng.choice((0.0, 0.025, 0.05))
    floor[S.RING] = *MATS[rng.integers(len(MATS))], rng.uniform(0.5, 4) * (rng.random() < 0.15)
    kind = rng.choice(5, p=(0.25, 0.25, 0.2, 0.15, 0.15))
    wood = np.array([0.36, 0.2, 0.09]) * rng.uniform(0.5, 1.4)
    floor[S.GROUND] = *(wood if kind == 1 else np.full(3, rng.uniform(0.05, 0.5)) * jitter()), kind
    floor[S.SEAM] = (
        rng.uniform(0.05, 0.6), rng.uniform(0, 0.25) * (rng.random() < 0.4),
        rng.uniform(0.0, 0.14), rng.integers(max(photos, 1)),
    )  # fmt: skip
    return floor


def _lighting(rng: np.random.Generator) -> Lighting:
    """Flat gym light, windows from the side, contest spots, or dim and contrasty."""
    kind = rng.choice(5, p=(0.34, 0.22, 0.18, 0.14, 0.12))
    key, ambient, height = (
        (rng.uniform(0.3, 0.8), rng.uniform(0.7, 1.0), rng.uniform(1.5, 4.0)),  # flat gym
        (rng.uniform(1.0, 2.0), rng.uniform(0.35, 0.7), rng.uniform(0.25, 0.9)),  # windows
        (rng.uniform(1.4, 2.4), rng.uniform(0.25, 0.5), rng.uniform(1.2, 3.0)),  # contest spots
        (rng.uniform(0.8, 1.6), rng.uniform(0.12, 0.3), rng.uniform(0.5, 2.0)),  # dim
        (rng.uniform(0.7, 1.4), rng.uniform(0.4, 0.8), rng.uniform(0.6, 2.5)),  # mixed
    )[kind]
    azimuth = rng.uniform(0, 2 * np.pi)
    direction = np.array([np.cos(azimuth), np.sin(azimuth), height])
    other = azimuth + rng.uniform(1.5, 4.8)
    fill = np.array([np.cos(other), np.sin(other), rng.uniform(0.1, 1.2)])
    sky = ambient * tint(rng)
    bounce = sky * rng.uniform(0.25, 0.6) * rng.uniform(0.7, 1.2, 3)
    level = 0.55 * ambient + 0.45 * key
    exposure = np.exp(rng.normal(0.0, 0.28)) / level
    return Lighting(
        key_direction=direction / np.linalg.norm(direction),
        key_colour=key * tint(rng),
        fill_direction=fill / np.linalg.norm(fill),
        fill_colour=key * rng.uniform(0.0, 0.4) * tint(rng),
        sky=sky,
        ground=bounce,
        gain=exposure * tint(rng, 0.5),
    )
