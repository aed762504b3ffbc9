"""What is handed to the second renderer: meshes, strands and cameras, as arrays in one file.

Needs NumPy only, and no more of it than version 1.26 has: Blender's Python reads it too.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, field
from pathlib import Path

import numpy as np

from ..arrays_file import write_arrays


@dataclass(frozen=True)
class Part:
    """One mesh, or one head of hair.

    Attributes
    ----------
    kind : str
        skin, eye, scalp, gi, belt, tight, loose, or strands (hair; no faces).
    label : int
        1 athlete A, 2 athlete B, 3 and more other people.
    colour, second : tuple of float
        Linear RGB; what they colour is the material's business.
    vertices : ndarray, float32, (V, 3), or (N, K, 3) for strands
        World, metres.
    rest : ndarray, float32, (V, 3)
        Where the texture sticks.
    crease : ndarray, float32, (V,)
        1 where joints bend the cloth.
    faces : ndarray, int32, (F, 3)
    """

    kind: str
    label: int
    colour: tuple[float, float, float]
    second: tuple[float, float, float]
    vertices: np.ndarray
    rest: np.ndarray
    crease: np.ndarray
    faces: np.ndarray


@dataclass(frozen=True)
class BlenderCamera:
    """A camera as Blender states it.

    Attributes
    ----------
    to_world : ndarray, (4, 4)
        ``matrix_world``: the camera looks along its −z, y up.
    angle : float
        ``Camera.angle`` with sensor fit AUTO: radians across the longer side.
    size : (int, int)
        Width and height, pixels.
    focus : float
        Metres along the view axis.
    """

    to_world: np.ndarray
    angle: float
    size: tuple[int, int]
    focus: float


@dataclass(frozen=True)
class SceneFile:
    """A scene to be drawn.

    Attributes
    ----------
    parts : list of Part
    cameras : list of BlenderCamera
    seed : int
        Of light, room, mat and materials.
    centre : tuple of float
        Middle of the pair, metres.
    truth : dict
        What `gather` needs again and the renderer ignores; JSON.
    """

    parts: list[Part]
    cameras: list[BlenderCamera]
    seed: int
    centre: tuple[float, float, float]
    truth: dict = field(default_factory=dict)


_ARRAYS = ("vertices", "rest", "crease", "faces")


def scene_files(folder: Path) -> list[Path]:
    """Return the scene files of a folder, in order."""
    return sorted(folder.glob("scene_?????.npz"))


def drawn_files(path: Path, i: int) -> tuple[Path, Path]:
    """Return where a scene's picture `i` and its labels and depth lie, once drawn."""
    return path.with_name(f"{path.stem}_{i}.png"), path.with_name(f"{path.stem}_{i}.truth.npz")


def write_scene(path: Path, scene: SceneFile) -> None:
    """Write a scene, whole or not at all."""
    arrays, words = {}, []
    for i, part in enumerate(scene.parts):
        values = {name: getattr(part, name) for name in part.__dataclass_fields__}
        for name in _ARRAYS:
            arrays[f"{i}/{name}"] = values.pop(name)
        words.append(values)
    cameras = [asdict(c) | {"to_world": c.to_world.tolist()} for c in scene.cameras]
    said = {
        "parts": words, "cameras": cameras, "seed": scene.seed, "centre": scene.centre,
        "truth": scene.truth,
    }  # fmt: skip
    write_arrays(path, {"scene": np.array(json.dumps(said)), **arrays})


def read_scene(path: Path) -> SceneFile:
    """Read what `write_scene` wrote."""
    with np.load(path, allow_pickle=False) as stored:
        said = json.loads(str(stored["scene"]))
        parts = [
            Part(**words, **{name: stored[f"{i}/{name}"] for name in _ARRAYS})
            for i, words in enumerate(said["parts"])
        ]
    cameras = [
        BlenderCamera(**c | {"to_world": np.array(c["to_world"]), "size": tuple(c["size"])})
        for c in said["cameras"]
    ]
    return SceneFile(parts, cameras, said["seed"], tuple(said["centre"]), said["truth"])
