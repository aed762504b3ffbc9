"""``python -m models.training.scenes.second_renderer.draw FOLDER``: scenes → pictures, by Cycles.

Runs in a Python that has Blender's package ``bpy`` and NumPy, nothing else; goes on where it was
interrupted. Beside each picture lie, in an ``.npz``, who is at a pixel and how far, from a second,
sharp rendering of the same view.
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path
from typing import Any

import numpy as np

from ..arrays_file import write_arrays
from .meshes import add_part
from .place import build_place
from .scene_file import BlenderCamera, SceneFile, drawn_files, read_scene, scene_files


def draw(path: Path, samples: int, threads: int) -> int:
    """Draw those pictures of a scene that are not there yet; return how many.

    Parameters
    ----------
    path : Path
        A scene file; ``NAME_0.png`` and ``NAME_0.truth.npz`` are written beside it.
    samples : int
        Light paths a pixel.
    threads : int
    """
    scene = read_scene(path)
    missing = [i for i in range(len(scene.cameras)) if not drawn_files(path, i)[1].is_file()]
    if not missing:
        return 0
    rng = np.random.default_rng(scene.seed)
    world = _set_up(scene, rng, samples, threads)
    for i in missing:
        _place_camera(world, scene.cameras[i], np.random.default_rng([scene.seed, i]))
        picture, truth = drawn_files(path, i)
        _render_picture(world, picture)
        labels, depth = _render_truth(world, picture.with_suffix(".exr"))
        write_arrays(truth, {"labels": labels, "depth": depth})
    return len(missing)


def _set_up(scene: SceneFile, rng: np.random.Generator, samples: int, threads: int) -> Any:
    import bpy

    bpy.ops.wm.read_factory_settings(use_empty=True)
    world = bpy.context.scene
    world.render.engine = "CYCLES"
    world.render.threads_mode, world.render.threads = "FIXED", threads
    world.render.use_persistent_data = True
    world.cycles.device, world.cycles.seed = "CPU", int(rng.integers(1 << 20))
    world.cycles.max_bounces, world.cycles.samples = 3, samples
    world.cycles.diffuse_bounces = 2
    world.cycles.use_adaptive_sampling, world.cycles.adaptive_threshold = True, 0.04
    world.cycles.use_denoising = bool(rng.random() < 0.85)
    if not world.cycles.use_denoising:  # the grain of few light paths stays
        world.cycles.samples *= 2
    world.cycles.denoiser = "OPENIMAGEDENOISE"
    world.cycles.denoising_prefilter, world.cycles.denoising_quality = "FAST", "BALANCED"
    world.view_settings.view_transform = str(rng.choice(("AgX", "Filmic", "Standard")))
    world.view_settings.exposure = float(rng.normal(0.0, 0.4))
    world.view_settings.gamma = float(np.exp(rng.normal(0, 0.08)))
    away = [c.to_world[:2, 3] - scene.centre[:2] for c in scene.cameras]
    build_place(rng, scene.centre, float(np.linalg.norm(away, axis=1).max()))
    for part in scene.parts:
        add_part(rng, part)
    world.view_layers[0].use_pass_object_index = True
    world.view_layers[0].use_pass_z = True
    _join_truth(world)
    return world


def _place_camera(world: Any, camera: BlenderCamera, rng: np.random.Generator) -> None:
    import bpy
    import mathutils

    lens = bpy.data.cameras.new("camera")
    eye = bpy.data.objects.new("camera", lens)
    world.collection.objects.link(eye)
    eye.matrix_world = mathutils.Matrix(camera.to_world.tolist())
    lens.sensor_fit, lens.angle = "AUTO", camera.angle
    lens.clip_start, lens.clip_end = 0.05, 200.0
    lens.dof.use_dof = bool(rng.random() < 0.6)
    lens.dof.focus_distance = camera.focus * float(rng.normal(1, 0.04))
    lens.dof.aperture_fstop = float(rng.uniform(0.35, 2.4))
    world.camera = eye
    world.render.resolution_x, world.render.resolution_y = camera.size
    world.render.resolution_percentage = 100


def _join_truth(world: Any) -> None:
    """Lay a compositor ready that puts object number and depth into one floating-point picture."""
    world.use_nodes = True
    tree = world.node_tree
    tree.nodes.clear()
    layers, joined = tree.nodes.new("CompositorNodeRLayers"), _new_combine(tree)
    out = tree.nodes.new("CompositorNodeComposite")
    tree.links.new(layers.outputs["IndexOB"], joined.inputs[0])
    tree.links.new(layers.outputs["Depth"], joined.inputs[1])
    tree.links.new(joined.outputs[0], out.inputs[0])


def _new_combine(tree: Any) -> Any:
    node = tree.nodes.new("CompositorNodeCombineColor")
    node.mode = "RGB"
    return node


def _render_picture(world: Any, path: Path) -> None:
    world.render.use_compositing = False
    world.render.image_settings.file_format = "PNG"
    world.render.image_settings.color_depth = "8"
    _render_to(world, path)


def _render_truth(world: Any, path: Path) -> tuple[np.ndarray, np.ndarray]:
    """Labels, uint8, and metres along the view axis, float32, both (H, W)."""
    import bpy

    kept = world.cycles.samples, world.cycles.use_denoising, world.camera.data.dof.use_dof
    world.cycles.samples, world.cycles.use_denoising = 1, False
    world.camera.data.dof.use_dof, world.render.use_compositing = False, True
    world.render.image_settings.file_format = "OPEN_EXR"
    world.render.image_settings.color_depth = "32"
    _render_to(world, path)
    world.cycles.samples, world.cycles.use_denoising, world.camera.data.dof.use_dof = kept
    stored = bpy.data.images.load(str(path))
    stored.colorspace_settings.name = "Non-Color"
    w, h = stored.size
    pixels = np.empty(w * h * stored.channels, np.float32)
    stored.pixels.foreach_get(pixels)
    bpy.data.images.remove(stored)
    path.unlink()
    up = pixels.reshape(h, w, -1)[::-1]  # Blender's first row is the lowest
    return np.rint(up[..., 0]).astype(np.uint8), np.minimum(up[..., 1], 1e3)


def _render_to(world: Any, path: Path) -> None:
    import bpy

    world.render.filepath = str(path.resolve())
    bpy.ops.render.render(write_still=True)


def main() -> None:
    """Draw every scene of a folder."""
    parser = argparse.ArgumentParser(description="Draw described scenes with Cycles.")
    parser.add_argument("folder", type=Path)
    parser.add_argument("--samples", type=int, default=6, help="light paths a pixel")
    parser.add_argument("--threads", type=int, default=2)
    parser.add_argument("--part", type=int, default=0, help="this of so many --parts")
    parser.add_argument("--parts", type=int, default=1)
    asked = parser.parse_args()
    paths = scene_files(asked.folder)
    for row in np.random.default_rng(0).permutation(len(paths))[asked.part :: asked.parts]:
        path = paths[row]  # in mixed order: a run cut short shows all positions too
        began = time.monotonic()
        if count := draw(path, asked.samples, asked.threads):
            print(f"{path.stem}: {count} in {time.monotonic() - began:.1f} s", flush=True)


if __name__ == "__main__":
    main()
