"""A bout as a camera and a body reader would give it: keypoints in pixels, with errors.

No picture is made. What hides a keypoint is judged on the bodies' sphere proxies.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from .camera import Camera, handheld, random_camera
from .misread import LEFT_RIGHT, lasting_noise, misread

VISIBLE, HIDDEN = 2, 1
# How far below the skin a keypoint lies at most, metres (COCO order).
DEPTH_M = np.array(
    [0.035, 0.03, 0.03, 0.035, 0.035, 0.12, 0.12, 0.085, 0.085, 0.06, 0.06, 0.17, 0.17, 0.10, 0.10,
     0.075, 0.075]
)  # fmt: skip


class Skeletons(Protocol):
    """What a view needs of a bout: times (T,), keypoints (T, 2, 17, 3), spheres (T, 2, S, 4)."""

    @property
    def times(self) -> np.ndarray: ...
    @property
    def keypoints(self) -> np.ndarray: ...
    @property
    def spheres(self) -> np.ndarray: ...


@dataclass(frozen=True)
class View:
    """One bout through one camera.

    Attributes
    ----------
    times : ndarray, (T,)
    keypoints : ndarray, float32, (T, 2, 17, 3)
        x, y in pixels and confidence; NaN = not seen.
    flags : ndarray, int8, (T, 2, 17)
        2 visible, 1 hidden; in the order of the true athletes.
    samples : ndarray, int, (T,)
        Which of the bout's samples these are.
    elevation : ndarray, (T,)
        Degrees that the camera looks down.
    """

    times: np.ndarray
    keypoints: np.ndarray
    flags: np.ndarray
    samples: np.ndarray
    elevation: np.ndarray


@dataclass(frozen=True)
class ReaderErrors:
    """How a body reader errs.

    Attributes
    ----------
    noise_m : float
        Standard deviation of a visible keypoint along each axis, metres.
    hidden_factor : float
        How much larger it is for hidden ones.
    lasting : float
        0–1, share of the variance that stays for about half a second.
    missing_visible, missing_hidden : float
        Chance that a keypoint is not given at all.
    sides_exchanged : float
        Chance that a sample has somebody's left and right exchanged.
    athletes_exchanged : float
        Chance that A and B are exchanged from a sample on, for about half a second.
    misread : float
        If not 0: keypoints go wrong as measured of the pair reader (`misread`), their odds
        multiplied by this; noise in metres and missing keypoints come on top.
    """

    noise_m: float = 0.0
    hidden_factor: float = 1.0
    lasting: float = 0.0
    missing_visible: float = 0.0
    missing_hidden: float = 0.0
    sides_exchanged: float = 0.0
    athletes_exchanged: float = 0.0
    misread: float = 0.0

    @classmethod
    def draw(cls, rng: np.random.Generator) -> ReaderErrors:
        """Draw a reader between nearly exact and poor; every other one errs like the pair reader.

        On real footage that one may err more than on the pictures it was measured on: its odds
        are drawn from half to two and a half times the measured.
        """
        if rng.random() < 0.5:
            return cls(
                missing_visible=float(rng.choice([0.0, rng.uniform(0, 0.05)])),
                missing_hidden=float(rng.choice([0.0, rng.uniform(0, 0.3)])),
                athletes_exchanged=float(rng.uniform(0.0, 0.01)),
                misread=float(np.exp(rng.uniform(np.log(0.5), np.log(2.5)))),
            )
        return cls(
            noise_m=float(rng.uniform(0.0, 0.08)),
            hidden_factor=float(rng.uniform(1.0, 2.5)),
            lasting=float(rng.uniform(0.0, 0.8)),
            missing_visible=float(rng.choice([0.0, rng.uniform(0, 0.08)])),
            missing_hidden=float(rng.choice([0.0, rng.uniform(0, 0.5)])),
            sides_exchanged=float(rng.uniform(0.0, 0.05)),
            athletes_exchanged=float(rng.uniform(0.0, 0.01)),
        )


NO_ERRORS = ReaderErrors()


def view(
    bout: Skeletons,
    rng: np.random.Generator,
    errors: ReaderErrors = NO_ERRORS,
    rate_hz: float = 5.0,
) -> View:
    """See a bout through a random camera.

    Parameters
    ----------
    bout : Bout or anything with its skeletons
    rng : numpy.random.Generator
    errors : ReaderErrors
    rate_hz : float
        Samples a second, at most the bout's own rate.

    Returns
    -------
    View
    """
    own_rate = 1 / float(np.median(np.diff(bout.times)))
    chosen = np.unique(np.round(np.arange(0, len(bout.times), own_rate / rate_hz)).astype(int))
    chosen = chosen[chosen < len(bout.times)]
    times, world, spheres = bout.times[chosen], bout.keypoints[chosen], bout.spheres[chosen]
    centres = world.mean(axis=(1, 2))
    low, high = world[0].min(axis=(0, 1)), world[0].max(axis=(0, 1))
    camera = random_camera(rng, np.minimum(low, centres[0] - 0.8), np.maximum(high, low + 1.2))
    cameras = list(handheld(rng, camera, times, centres))
    eyes = np.stack([c.eye for c in cameras])
    flags = visibility(eyes, world, spheres)
    keypoints = _read(rng, world, flags, cameras, times, errors)
    elevation = np.array([camera.elevation for camera in cameras])
    return View(times, keypoints, flags, chosen, elevation)


def visibility(eyes: np.ndarray, world: np.ndarray, spheres: np.ndarray) -> np.ndarray:
    """Tell which keypoints are seen.

    Parameters
    ----------
    eyes : ndarray, (T, 3)
    world : ndarray, (T, 2, 17, 3)
    spheres : ndarray, (T, 2, S, 4)

    Returns
    -------
    ndarray, int8, (T, 2, 17)
        1 where the ray from the eye enters a sphere well before it comes to the keypoint.
    """
    samples = len(eyes)
    points = world.reshape(samples, 34, 1, 3).astype(np.float32)
    balls = spheres.reshape(samples, 1, -1, 4).astype(np.float32)
    start = eyes[:, None, None].astype(np.float32)
    ray = points - start
    length = np.linalg.norm(ray, axis=-1)
    along = np.einsum("tpsa,tpsa->tps", balls[..., :3] - start, np.broadcast_to(
        ray / length[..., None], (samples, 34, balls.shape[2], 3)))  # fmt: skip
    off2 = ((balls[..., :3] - start) ** 2).sum(-1) - along**2
    inside2 = balls[..., 3] ** 2 - off2
    enters = along - np.sqrt(np.maximum(inside2, 0))
    slack = np.tile(DEPTH_M, 2)[None, :, None] + 0.02
    hidden = ((inside2 > 0) & (enters < length - slack)).any(axis=2)
    return np.where(hidden, HIDDEN, VISIBLE).reshape(samples, 2, 17).astype(np.int8)


# Bones that hide something, by their keypoints, and their radii in metres; from memory.
LIMBS = ((5, 7, 0.05), (6, 8, 0.05), (7, 9, 0.04), (8, 10, 0.04), (11, 13, 0.085),
          (12, 14, 0.085), (13, 15, 0.055), (14, 16, 0.055))  # fmt: skip


def skeleton_spheres(keypoints: np.ndarray) -> np.ndarray:
    """Guess spheres that fill a body from its keypoints alone, where no body is at hand.

    Parameters
    ----------
    keypoints : ndarray, (T, 2, 17, 3)
        Metres.

    Returns
    -------
    ndarray, float32, (T, 2, S, 4)
        Centres and radii, metres: five along each bone, a grid for the trunk, one for the head.
    """
    shares = np.linspace(0.0, 1.0, 5)[:, None]
    balls = []

    def add(centres: np.ndarray, radius: float) -> None:
        radii = np.full((*centres.shape[:-1], 1), radius)
        balls.append(np.concatenate([centres, radii], axis=-1))

    def between(a: np.ndarray, b: np.ndarray) -> np.ndarray:
        return a[:, :, None] + shares * (b - a)[:, :, None]

    for first, last, radius in LIMBS:
        add(between(keypoints[:, :, first], keypoints[:, :, last]), radius)
    for share in (0.25, 0.5, 0.75):
        top = keypoints[:, :, 5] + share * (keypoints[:, :, 6] - keypoints[:, :, 5])
        seat = keypoints[:, :, 11] + share * (keypoints[:, :, 12] - keypoints[:, :, 11])
        add(between(top, seat), 0.1)
    add(keypoints[:, :, 3:5].mean(axis=2)[:, :, None], 0.1)
    return np.concatenate(balls, axis=2).astype(np.float32)


def _read(
    rng: np.random.Generator,
    world: np.ndarray,
    flags: np.ndarray,
    cameras: list[Camera],
    times: np.ndarray,
    errors: ReaderErrors,
) -> np.ndarray:
    hidden = flags == HIDDEN
    scale = errors.noise_m * np.where(hidden, errors.hidden_factor, 1.0)
    wrong = world + scale[..., None] * _noise(rng, world.shape, times, errors.lasting)
    pixels = np.stack([c.project(p)[..., :2] for c, p in zip(cameras, wrong, strict=True)])
    if errors.misread:
        keypoints = misread(rng, pixels, hidden, times, errors.misread)
    else:
        sure = rng.uniform(0.2, 0.7, flags.shape), rng.uniform(0.6, 1, flags.shape)
        keypoints = np.concatenate([pixels, np.where(hidden, *sure)[..., None]], axis=-1)
    chance = np.where(hidden, errors.missing_hidden, errors.missing_visible)
    keypoints[rng.random(flags.shape) < chance] = np.nan
    turned = rng.random(flags.shape[:2]) < errors.sides_exchanged
    keypoints[turned] = keypoints[turned][:, LEFT_RIGHT]
    for first in np.flatnonzero(rng.random(len(times)) < errors.athletes_exchanged):
        last = np.searchsorted(times, times[first] + rng.uniform(0.2, 0.8))
        keypoints[first:last] = keypoints[first:last, ::-1]
    return keypoints.astype(np.float32)


def _noise(
    rng: np.random.Generator, shape: tuple[int, ...], times: np.ndarray, lasting: float
) -> np.ndarray:
    """Unit noise, part of it an Ornstein–Uhlenbeck process of half a second."""
    slow = lasting_noise(rng, shape, times, 0.5)
    return np.sqrt(1 - lasting) * rng.normal(size=shape) + np.sqrt(lasting) * slow
