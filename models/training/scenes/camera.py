"""Cameras: where phones and stands are around a mat, and how they shake."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

NEAR_M, FAR_M = 0.15, 80.0

ASPECTS: tuple[tuple[int, int], ...] = ((16, 9), (9, 16), (4, 3), (3, 4), (1, 1))
_ASPECT_SHARES = (0.50, 0.18, 0.14, 0.08, 0.10)


@dataclass(frozen=True)
class Camera:
    """A pinhole camera.

    Attributes
    ----------
    eye, target : ndarray, (3,)
        Metres, world.
    roll : float
        Degrees about the view axis, clockwise as seen through the camera.
    fov : float
        Degrees across the longer side of the picture.
    size : (int, int)
        Width and height in pixels.
    """

    eye: np.ndarray
    target: np.ndarray
    roll: float
    fov: float
    size: tuple[int, int]

    def view(self) -> np.ndarray:
        """World to camera, (4, 4); the camera looks along −z, y up."""
        forward = _unit(self.target - self.eye)
        side = np.cross(forward, [0.0, 0.0, 1.0])
        side = _unit(side if np.linalg.norm(side) > 1e-6 else np.array([1.0, 0.0, 0.0]))
        up = np.cross(side, forward)
        c, s = np.cos(np.radians(self.roll)), np.sin(np.radians(self.roll))
        rows = np.stack([c * side + s * up, c * up - s * side, -forward])
        out = np.eye(4)
        out[:3, :3], out[:3, 3] = rows, -rows @ self.eye
        return out

    def clip(self) -> np.ndarray:
        """World to OpenGL clip space, (4, 4)."""
        return self._lens() @ self.view()

    def _lens(self) -> np.ndarray:
        w, h = self.size
        focal = 1 / np.tan(np.radians(self.fov) / 2)
        out = np.zeros((4, 4))
        out[0, 0], out[1, 1] = focal * max(w, h) / w, focal * max(w, h) / h
        out[2, 2] = (FAR_M + NEAR_M) / (NEAR_M - FAR_M)
        out[2, 3] = 2 * FAR_M * NEAR_M / (NEAR_M - FAR_M)
        out[3, 2] = -1
        return out

    def in_camera(self, points: np.ndarray) -> np.ndarray:
        """World points (..., 3) in the camera's frame: x right, y down, z forward, metres."""
        view = self.view()
        return (points @ view[:3, :3].T + view[:3, 3]) * np.array([1, -1, -1])

    def project(self, points: np.ndarray) -> np.ndarray:
        """Pixels (..., 2) and depth in metres (..., 1) of world points, as one (..., 3) array.

        Pixel centres are at halves; points behind the camera get NaN.
        """
        local = self.in_camera(points)
        depth = local[..., 2:]
        focal = max(self.size) / 2 / np.tan(np.radians(self.fov) / 2)
        with np.errstate(divide="ignore", invalid="ignore"):
            pixels = np.where(depth > 1e-3, local[..., :2] / depth * focal, np.nan)
        return np.concatenate([pixels + np.array(self.size) / 2, depth], -1)

    def metres(self, window_depth: np.ndarray) -> np.ndarray:
        """Depth along the view axis from a depth buffer's 0..1."""
        ndc = 2 * window_depth - 1
        return 2 * NEAR_M * FAR_M / (FAR_M + NEAR_M - ndc * (FAR_M - NEAR_M))

    @property
    def elevation(self) -> float:
        """Degrees that the camera looks down."""
        d = self.eye - self.target
        return float(np.degrees(np.arctan2(d[2], np.hypot(d[0], d[1]))))

    @property
    def distance(self) -> float:
        """Metres from eye to target."""
        return float(np.linalg.norm(self.eye - self.target))


def picture_size(long_side: int, aspect: tuple[int, int]) -> tuple[int, int]:
    """Width and height, both even, whose longer side is `long_side`."""
    w, h = aspect
    scale = long_side / max(w, h)
    return 2 * round(w * scale / 2), 2 * round(h * scale / 2)


def random_camera(
    rng: np.random.Generator, low: np.ndarray, high: np.ndarray, long_side: int = 448
) -> Camera:
    """Draw a camera that somebody beside the mat might hold.

    Parameters
    ----------
    rng : numpy Generator
    low, high : ndarray, (3,)
        Corners of the box around the pair, metres.
    long_side : int
        Of the picture, pixels.

    Returns
    -------
    Camera
        Mostly close enough that the pair fills a good part of the picture; at times the pair is
        small, or cut by the frame.
    """
    size = picture_size(long_side, ASPECTS[rng.choice(len(ASPECTS), p=_ASPECT_SHARES)])
    centre, radius = (low + high) / 2, float(np.linalg.norm(high - low)) / 2
    where = rng.choice(5, p=(0.16, 0.40, 0.26, 0.12, 0.06))
    elevation, nearest = (
        (rng.uniform(-2, 8), 1.8),  # phone lying on the mat's edge
        (rng.uniform(6, 28), 1.6),  # held at chest or eye height
        (rng.uniform(15, 45), 2.0),  # standing close, or on a stand
        (rng.uniform(20, 40), 6.0),  # from the stands
        (rng.uniform(55, 86), 1.8),  # nearly overhead
    )[where]
    distance = nearest + rng.gamma(2.0, 1.1 if where < 3 else 1.6)
    azimuth, e = rng.uniform(0, 2 * np.pi), np.radians(elevation)
    eye = centre + distance * np.array(
        [np.cos(azimuth) * np.cos(e), np.sin(azimuth) * np.cos(e), np.sin(e)]
    )
    eye[2] = np.clip(eye[2], 0.12, 5.5)
    distance = float(np.linalg.norm(eye - centre))
    fill = rng.choice((rng.uniform(0.6, 1.05), rng.uniform(0.28, 0.6), rng.uniform(1.05, 2.1)),
                      p=(0.55, 0.17, 0.28))  # fmt: skip
    short = min(size) / max(size)
    half = np.arctan(radius * 0.8 / distance / fill / (0.4 + 0.6 * short))
    fov = float(np.clip(2 * np.degrees(half), 9, 98))
    slack = distance * np.tan(np.radians(fov) / 2) - radius
    drift = 0.12 * radius + 0.35 * max(slack, 0.0)
    target = centre + rng.normal(0, 1, 3) * drift * np.array([0.5, 0.5, 0.3])
    roll = rng.normal(0, 2.0) if rng.random() < 0.75 else rng.uniform(-15, 15)
    return Camera(eye, target, float(roll), fov, size)


def handheld(
    rng: np.random.Generator, camera: Camera, times: np.ndarray, centres: np.ndarray
) -> Iterator[Camera]:
    """Follow a bout with a moving camera.

    Parameters
    ----------
    rng : numpy Generator
    camera : Camera
        Where filming starts.
    times : ndarray, (T,)
        Seconds.
    centres : ndarray, (T, 3)
        Middle of the pair at each time.

    Yields
    ------
    Camera
        The operator follows late and smoothly, steps sideways a little, and shakes.
    """
    wobble = rng.uniform(0.3, 1.6, (6,)) * 2 * np.pi
    phase = rng.uniform(0, 2 * np.pi, 6)
    shake = rng.uniform(0.002, 0.012) * camera.distance
    walk = rng.uniform(-0.06, 0.06)
    aim = camera.target - centres[0]
    followed, last = centres[0].astype(float), float(times[0])
    for t, centre in zip(times, centres, strict=True):
        followed = followed + (centre - followed) * (1 - np.exp(-(t - last) / 0.8))
        last = float(t)
        sway = np.sin(wobble * t + phase)
        turn = walk * np.sin(0.15 * t + phase[0])
        arm = camera.eye - camera.target
        c, s = np.cos(turn), np.sin(turn)
        arm = np.array([c * arm[0] - s * arm[1], s * arm[0] + c * arm[1], arm[2]])
        target = followed + aim + shake * sway[:3]
        yield replace(
            camera,
            eye=camera.target + arm + 0.5 * shake * sway[3:],
            target=target,
            roll=camera.roll + 60 * shake / camera.distance * sway[5],
        )


def _unit(v: np.ndarray) -> np.ndarray:
    return v / np.linalg.norm(v)
