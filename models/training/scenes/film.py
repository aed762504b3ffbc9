"""A bout as footage: rendered pictures with everything about them known."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Protocol

import numpy as np

from .body import JOINT_INDEX, JOINT_NAMES
from .camera import Camera, handheld, random_camera
from .clothing import Look, LookSlot, bystander_look, gi_look, nogi_look
from .picture import Picture, Scene, Studio, random_lens
from .pose import PosedPair
from .raster import Actor, Lens
from .truth import OTHER, VISIBLE

SIZE = (640, 360)

TALL = 0.7
"""Least share of the picture's height that the standing pair takes."""
AIM = 0.3
"""Share of a random camera's aim past the pair that a filming one keeps."""
SEEN = 0.6
"""Least share of keypoints that the first picture shows; standing, some are always hidden."""
REFEREE_ROOM_M = 3.5
"""Between lens and pair, where a referee walks through."""

Extras = Callable[[int], list[Actor]]
"""Who else is there at a sample."""


class Filmable(Protocol):
    """What a film needs of a bout: who, times (T,), keypoints (T, 2, 17, 3), poses."""

    @property
    def who(self) -> tuple[int, int]: ...
    @property
    def times(self) -> np.ndarray: ...
    @property
    def keypoints(self) -> np.ndarray: ...
    def pair(self, sample: int) -> PosedPair: ...


class Clothing(StrEnum):
    """What both athletes wear."""

    NO_GI = "no-gi"
    GI = "gi"
    GI_SAME = "gi-same"
    """Gis of one colour, as at a club's open mat."""


@dataclass(frozen=True)
class Filming:
    """How a bout is filmed.

    Attributes
    ----------
    seed : int
        Of clothing, surroundings, camera and optics.
    referee : bool
        Whether somebody walks between camera and pair.
    next_mat : Bout, Played or None
        What goes on on the next mat, behind the pair.
    clothing : Clothing, optional
        Anything by default.
    lens_m : (float, float)
        Between which heights above the mat the lens is, metres.
    """

    seed: int = 0
    referee: bool = False
    next_mat: Filmable | None = None
    clothing: Clothing | None = None
    lens_m: tuple[float, float] = (0.3, 3.0)


def film(studio: Studio, bout: Filmable, filming: Filming) -> Iterator[Picture]:
    """Render every sample of a bout.

    Parameters
    ----------
    studio : Studio
        Of the bout's cast.
    bout : Bout or Played
        Its rate is the frame rate.
    filming : Filming

    Yields
    ------
    Picture
        With keypoints, what hides them, and masks.
    """
    rng = np.random.default_rng(filming.seed)
    scene, camera = _set_up(rng, studio, bout, filming)
    centres = bout.keypoints.mean(axis=(1, 2))
    cameras = list(handheld(rng, camera, bout.times, centres))
    lens = replace(random_lens(rng), motion=(0.0, 0.0), defocus=0.0)
    extras: list[Extras] = []
    if filming.referee:
        extras.append(_walk_past(rng, studio, bout, cameras))
    if filming.next_mat is not None:
        extras.append(_next_mat(rng, studio, filming.next_mat, camera, centres[0]))
    for sample in range(len(bout.times)):
        moved = studio.move(scene, bout.pair(sample))
        others = [actor for extra in extras for actor in extra(sample)]
        others = [replace(a, label=OTHER + 8 + i) for i, a in enumerate(others)]
        now = replace(moved, actors=(*moved.actors, *others))
        yield from studio.photograph(now, [(cameras[sample], lens)])


def _dress(
    rng: np.random.Generator, studio: Studio, bout: Filmable, clothing: Clothing | None
) -> tuple[Look, Look] | None:
    if clothing is None:
        return None
    first, second = (studio.figures[row].woman for row in bout.who)
    if clothing is Clothing.NO_GI:
        photos = len(studio.textures.photos)
        return nogi_look(rng, first, photos), nogi_look(rng, second, photos)
    look, opponent = gi_look(rng, first), gi_look(rng, second)
    if clothing is Clothing.GI_SAME:
        cloth = [LookSlot.TOP, LookSlot.TOP3, LookSlot.BOTTOM, LookSlot.BOTTOM2]
        for slots in (look.slots, opponent.slots):
            slots[cloth, :3] = look.slots[LookSlot.TOP, :3]
        words = dict(opponent.description) | {"top": look.description["top"]}
        opponent = replace(opponent, description=words)
    return look, opponent


def _set_up(
    rng: np.random.Generator, studio: Studio, bout: Filmable, filming: Filming
) -> tuple[Scene, Camera]:
    """Draw halls and cameras until nothing stands between lens and pair."""
    looks = _dress(rng, studio, bout, filming.clothing)
    while True:
        scene = studio.scene(rng, bout.pair(0), looks=looks, photographs_behind=False)
        camera = _camera(rng, scene.low, scene.high, filming)
        (first,) = studio.photograph(scene, [(camera, Lens())])
        if (first.visible == VISIBLE).mean() > SEEN:
            return scene, camera


def _camera(
    rng: np.random.Generator, low: np.ndarray, high: np.ndarray, filming: Filming
) -> Camera:
    """Draw a camera until the pair fits into the picture and is large enough to see."""
    nearest = REFEREE_ROOM_M if filming.referee else 0.0
    while True:
        drawn = random_camera(rng, low, high, SIZE[0])
        target = (low + high) / 2 + AIM * (drawn.target - (low + high) / 2)
        camera = replace(drawn, target=target, size=SIZE)
        corners = np.array(np.meshgrid(*zip(low, high, strict=True))).reshape(3, -1).T
        pixels = camera.project(corners)[:, :2]
        inside = ((pixels > 0) & (pixels < SIZE)).all()
        tall = np.ptp(pixels[:, 1]) > TALL * SIZE[1]
        level = filming.lens_m[0] < camera.eye[2] < filming.lens_m[1]
        level &= camera.elevation < 40 and abs(camera.roll) < 3
        if inside and tall and level and camera.distance > nearest:
            return camera


def _walk_past(
    rng: np.random.Generator, studio: Studio, bout: Filmable, cameras: Sequence[Camera]
) -> Extras:
    """A referee who walks across between camera and pair, in the middle third of the bout."""
    who = int(rng.integers(len(studio.people)))
    figure, person = studio.figures[who], studio.people[who]
    look = bystander_look(rng, figure.woman, len(studio.textures.photos), True)
    middle = len(bout.times) // 2
    centre = bout.keypoints[middle].mean(axis=(0, 1))[:2]
    towards = cameras[middle].eye[:2] - centre
    towards /= np.linalg.norm(towards)
    along = np.array([-towards[1], towards[0]])
    speed = 1.1

    def at(sample: int) -> list[Actor]:
        walked = speed * (bout.times[sample] - bout.times[middle])
        if abs(walked) > 6:
            return []
        place = centre + 1.2 * towards + walked * along
        stride = np.sin(2 * np.pi * walked / 1.4)
        joints = np.zeros(len(JOINT_NAMES))
        for side, sign in (("L", 1.0), ("R", -1.0)):
            joints[JOINT_INDEX[f"hip_flex.{side}"]] = np.radians(4 + 24 * sign * stride)
            joints[JOINT_INDEX[f"knee.{side}"]] = np.radians(14 + 22 * max(-sign * stride, 0))
            joints[JOINT_INDEX[f"sh_up.{side}"]] = np.radians(-42)
            joints[JOINT_INDEX[f"sh_fw.{side}"]] = np.radians(-18 * sign * stride)
        # At rest a body faces −y.
        turn = np.arctan2(along[1], along[0]) + np.pi / 2
        c, s = np.cos(turn), np.sin(turn)
        rotation = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])
        matrices = figure.matrices(person.fk(joints, rotation, np.array([*place, 1.0])))
        matrices[:, 2, 3] -= figure.lowest(matrices)
        return [Actor(who, matrices, look, OTHER)]

    return at


def _next_mat(
    rng: np.random.Generator, studio: Studio, other: Filmable, camera: Camera, centre: np.ndarray
) -> Extras:
    """A second pair behind the first."""
    looks = studio.looks(rng, other.pair(0))
    away = centre[:2] - camera.eye[:2]
    away /= np.linalg.norm(away)
    aside = np.array([-away[1], away[0]]) * rng.choice([-1.0, 1.0])
    shift = centre[:2] + 4.0 * away + 1.6 * aside - other.keypoints[0].mean(axis=(0, 1))[:2]
    move = np.array([*shift, 0.0], np.float32)

    def at(sample: int) -> list[Actor]:
        pair = other.pair(min(sample, len(other.times) - 1))
        return [
            Actor(
                body.person,
                studio.matrices(replace(body, translation=body.translation + move)),
                look,
                OTHER,
            )
            for body, look in zip(pair.bodies, looks, strict=True)
        ]

    return at
