"""From solved pairs to scenes for the second renderer."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from ..body import Person
from ..bystanders import pose_bystander, random_stance
from ..camera import Camera, random_camera
from ..figures import Figure, build_figure
from ..pose import BodyPose, PosedPair
from ..truth import OTHER, touching
from .scene_file import BlenderCamera, Part, SceneFile, scene_files, write_scene
from .wardrobe import Outfit, dress, random_outfit, random_outfits


def blender_camera(camera: Camera, focus: np.ndarray) -> BlenderCamera:
    """State a camera in Blender's terms, focused on a world point."""
    depth = float(camera.in_camera(focus)[2])
    to_world = np.linalg.inv(camera.view())
    return BlenderCamera(to_world, float(np.radians(camera.fov)), camera.size, max(depth, 0.3))


def describe_all(
    pairs: Sequence[PosedPair],
    people: Sequence[Person],
    out: Path,
    seed: int = 0,
    views: int = 1,
    long_side: int = 512,
) -> list[Path]:
    """Write one scene file a pair: ``scene_00000.npz`` and on, or on from those that are there.

    Parameters
    ----------
    pairs : sequence of PosedPair
    people : sequence of Person
        The cast they were solved for.
    out : Path
        Folder.
    seed, views, long_side : int
        Cameras a scene, and the longer side of their pictures in pixels.
    """
    out.mkdir(parents=True, exist_ok=True)
    figures = [build_figure(p) for p in people]
    written, first = [], len(scene_files(out))
    for i, pair in enumerate(pairs):
        rng = np.random.default_rng([seed, i])
        path = out / f"scene_{first + i:05d}.npz"
        write_scene(path, describe(rng, pair, i, people, figures, views, long_side))
        written.append(path)
    return written


def describe(
    rng: np.random.Generator,
    pair: PosedPair,
    row: int,
    people: Sequence[Person],
    figures: Sequence[Figure],
    views: int,
    long_side: int,
) -> SceneFile:
    """Dress a pair, put people around it, choose cameras.

    Parameters
    ----------
    rng : numpy Generator
    pair : PosedPair
    row : int
        Its row in the file of pairs, to find it again.
    people, figures : sequence
        The cast, and `build_figure` of each.
    views, long_side : int
        See `describe_all`.
    """
    outfits = random_outfits(rng, [figures[b.person].woman for b in pair.bodies])
    matrices = [pose_matrices(people, figures, body) for body in pair.bodies]
    dressed = zip(pair.bodies, matrices, outfits, strict=True)
    parts = [
        part
        for label, (body, m, outfit) in enumerate(dressed, 1)
        for part in dress(rng, figures[body.person], m, outfit, label)
    ]
    worn = zip(pair.bodies, matrices, strict=True)
    keypoints = np.stack([figures[b.person].keypoints(m) for b, m in worn])
    low, high = keypoints.min((0, 1)) - 0.1, keypoints.max((0, 1)) + 0.1
    centre = (low + high) / 2
    parts += _bystanders(rng, people, figures, centre, float(np.hypot(*(high - low)[:2])) / 2)
    cameras = [random_camera(rng, low, high, long_side) for _ in range(views)]
    balls = [figures[b.person].posed_balls(m) for b, m in zip(pair.bodies, matrices, strict=True)]
    truth = {
        "pair": row,
        "keypoints": keypoints.tolist(),
        "engaged": touching(balls),
        "gi": [o.gi for o in outfits],
        "colours": [_main_colours(o) for o in outfits],
        "cameras": [_stated(c) for c in cameras],
    }
    seen = [blender_camera(c, centre) for c in cameras]
    return SceneFile(parts, seen, int(rng.integers(1 << 31)), tuple(centre.tolist()), truth)


def pose_matrices(
    people: Sequence[Person], figures: Sequence[Figure], body: BodyPose
) -> np.ndarray:
    """Bone matrices of one body, (J, 3, 4)."""
    bones = people[body.person].fk(body.joints, body.rotation, body.translation)
    return figures[body.person].matrices(bones)


def camera_of(stated: dict) -> Camera:
    """Read a camera back from a scene's truth."""
    eye, target = np.array(stated["eye"]), np.array(stated["target"])
    return Camera(eye, target, stated["roll"], stated["fov"], tuple(stated["size"]))


def _stated(camera: Camera) -> dict:
    return {
        "eye": camera.eye.tolist(), "target": camera.target.tolist(), "roll": camera.roll,
        "fov": camera.fov, "size": list(camera.size),
    }  # fmt: skip


def _main_colours(outfit: Outfit) -> list[list[float]]:
    top = outfit.skin if outfit.top is None else outfit.top
    return [np.asarray(top).tolist(), np.asarray(outfit.bottom).tolist()]


def _bystanders(
    rng: np.random.Generator,
    people: Sequence[Person],
    figures: Sequence[Figure],
    centre: np.ndarray,
    reach: float,
) -> list[Part]:
    """Nobody in half the scenes, else one to three people who stand or sit around."""
    parts: list[Part] = []
    for i in range(int(rng.choice(4, p=(0.5, 0.25, 0.15, 0.1)))):
        who, round_ = int(rng.integers(len(people))), rng.uniform(0, 2 * np.pi)
        away = reach + rng.uniform(0.7, 4.0)
        place = centre[:2] + away * np.array([np.cos(round_), np.sin(round_)])
        facing = round_ + np.pi + rng.normal(0, 0.6)
        figure = figures[who]
        bones = pose_bystander(rng, people[who], random_stance(rng), place, facing)
        matrices = figure.on_floor(figure.matrices(bones))
        outfit = random_outfit(rng, figure.woman, bool(rng.random() < 0.4))
        parts += dress(rng, figure, matrices, outfit, OTHER + i)
    return parts
