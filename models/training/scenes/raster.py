"""OpenGL through EGL: poses figures, draws a stage, and reads picture, labels and depth back.

Runs on a GPU or, without one, on Mesa's llvmpipe. A figure is skinned once a pose (transform
feedback) and drawn from there into every view, so that more cameras cost little.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from .buffers import MATERIALS, FigureBuffers, Target, look_block, parts_of
from .camera import Camera
from .clothing import Look, LookSlot
from .figures import Figure
from .programs import (
    MAX_BALLS,
    MAX_BONES,
    SHADOW_SIDE,
    Material,
    compile_programs,
    make_context,
    noise_volume,
    used,
)
from .scenery import FLOOR_VERTICES
from .surroundings import FloorSlot, Lighting, Stage

CONTACT_SIDE = 128
POSED_BYTES = 28  # position, direction, openness


@dataclass(frozen=True)
class Actor:
    """One body in the scene.

    Attributes
    ----------
    person : int
        Row in the renderer's figures.
    matrices : ndarray, float32, (J, 3, 4)
        From rest to the world (`Figure.matrices`).
    look : Look
    label : int
        1 athlete A, 2 athlete B, 3 and more other people.
    """

    person: int
    matrices: np.ndarray
    look: Look
    label: int


@dataclass(frozen=True)
class Lens:
    """What optics, sensor and phone do to a picture; see ``film.frag``."""

    motion: tuple[float, float] = (0.0, 0.0)
    defocus: float = 0.0
    grain: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 1.0)
    tone: tuple[float, float, float, float] = (1.0, 1.0, 0.0, 0.0)
    lift: tuple[float, float] = (0.0, 1.0)


@dataclass(frozen=True)
class Shot:
    """What came back from one view.

    Attributes
    ----------
    rgb : ndarray, uint8, (H, W, 3)
    labels : ndarray, uint8, (H, W)
        Who is seen at a pixel: 0 nobody, else `Actor.label`.
    depth : ndarray, float32, (H, W)
        Metres along the view axis; far plane where nothing is.
    """

    rgb: np.ndarray
    labels: np.ndarray
    depth: np.ndarray


class Raster:
    """An OpenGL context with the project's shaders, figures and textures loaded.

    Parameters
    ----------
    figures : sequence of Figure
    photos : ndarray, uint8, (n, S, S, 3)
        Photographs for prints, walls, banners and floors.
    backdrops : sequence of ndarray, uint8, (H, W, 3)
        Photographs that may stand behind a pair.
    device : int, optional
        Which EGL device (GPU) to use; the first by default.
    samples : int
        Samples a pixel against jagged edges.

    Raises
    ------
    MatlineError
        If moderngl is missing or no OpenGL 3.3 context can be made.
    """

    def __init__(
        self,
        figures: Sequence[Figure],
        photos: np.ndarray,
        backdrops: Sequence[np.ndarray] = (),
        device: int | None = None,
        samples: int = 4,
    ) -> None:
        self._gl = make_context(device)
        self.renderer = str(self._gl.info["GL_RENDERER"])
        self.figures = list(figures)
        self._samples = min(samples, self._gl.max_samples)
        self._programs = compile_programs(self._gl)
        self._allocate()
        self._photos = self._photo_array(photos)
        self._sprites = self._gl.texture_array((4, 4, 1), 4, bytes(64))
        self._backdrops = [self._backdrop(b) for b in backdrops]
        self._loaded: dict[int, FigureBuffers] = {}
        self._slots: list[Any] = []
        self._looks: list[Any] = []
        self._arrays: dict[tuple[int, int], dict[Any, Any]] = {}
        self._targets: dict[tuple[int, int], Target] = {}
        self._scene: list[tuple[Actor, dict[Any, Any], Any]] = []

    def stage(self, actors: Sequence[Actor], stage: Stage, cast_contact: int | None = None) -> None:
        """Pose the actors and set the stage; `shoot` then photographs it from anywhere.

        Parameters
        ----------
        actors : sequence of Actor
        stage : Stage
        cast_contact : int, optional
            How many actors, the first, darken each other and the floor where they touch; all by
            default.
        """
        near = list(actors)[:cast_contact]
        balls = [self.figures[a.person].posed_balls(a.matrices) for a in near]
        self._shadow_frame.use()  # drivers refuse to run without some frame buffer
        count = self._write_balls(np.concatenate(balls) if balls else np.zeros((0, 4), np.float32))
        self._scene = [self._pose(slot, actor, count) for slot, actor in enumerate(actors)]
        self._set_stage(stage)
        self._draw_contact(count)
        self._draw_shadows(stage)

    def shoot(self, camera: Camera, lens: Lens) -> Shot:
        """Photograph the staged scene.

        Parameters
        ----------
        camera : Camera
        lens : Lens

        Returns
        -------
        Shot
        """
        target = self._target(camera.size)
        clip = camera.clip().T.astype("f4").tobytes()
        self._draw_colour(target, camera, clip)
        self._draw_film(target, lens)
        self._draw_labels(target, clip)
        rgb, labels, depth = target.read()
        return Shot(rgb, labels, camera.metres(depth))

    # ------------------------------------------------------------------ set-up

    def _allocate(self) -> None:
        gl = self._gl
        self._bones = gl.buffer(reserve=48 * MAX_BONES, dynamic=True)
        self._balls = gl.buffer(reserve=16 * MAX_BALLS, dynamic=True)
        self._light = gl.buffer(reserve=16 * 12, dynamic=True)
        self._floor = gl.buffer(reserve=16 * len(FloorSlot), dynamic=True)
        volume = noise_volume()
        self._noise = gl.texture3d(volume.shape[:3], 4, volume.tobytes())
        self._noise.repeat_x = self._noise.repeat_y = self._noise.repeat_z = True
        self._shadow_map = gl.depth_texture((SHADOW_SIDE, SHADOW_SIDE))
        self._shadow_map.filter = (gl.LINEAR, gl.LINEAR)
        self._shadow_map.compare_func = "<="
        self._shadow_map.repeat_x = self._shadow_map.repeat_y = False
        self._shadow_frame = gl.framebuffer([], self._shadow_map)
        self._contact = gl.texture((CONTACT_SIDE, CONTACT_SIDE), 1, dtype="f1")
        self._contact.repeat_x = self._contact.repeat_y = False
        self._contact_frame = gl.framebuffer([self._contact])
        corners = gl.buffer(np.array([-1, -1, 1, -1, -1, 1, 1, 1], "f4").tobytes())
        quad = lambda p: gl.vertex_array(p, [(corners, "2f", "corner")])  # noqa: E731
        self._backdrop_quad = quad(self._programs.backdrop)
        self._contact_quad = quad(self._programs.contact)
        self._film_quad = quad(self._programs.film)
        self._blank = gl.texture((1, 1), 3, bytes(3), alignment=1)
        self._scenery: dict[str, Any] = {}

    def _photo_array(self, photos: np.ndarray) -> Any:
        n, h, w, _ = photos.shape
        texture = self._gl.texture_array((w, h, n), 3, np.ascontiguousarray(photos).tobytes())
        texture.build_mipmaps()
        texture.repeat_x = texture.repeat_y = True
        return texture

    def _backdrop(self, picture: np.ndarray) -> Any:
        h, w, _ = picture.shape
        flipped = np.ascontiguousarray(picture[::-1])
        texture = self._gl.texture((w, h), 3, flipped.tobytes(), alignment=1)
        texture.build_mipmaps()
        return texture

    def set_sprites(self, sprites: np.ndarray) -> None:
        """Load cut-out spectators, uint8 (n, H, W, 4)."""
        n, h, w, _ = sprites.shape
        self._sprites = self._gl.texture_array(
            (w, h, n), 4, np.ascontiguousarray(sprites).tobytes()
        )
        self._sprites.build_mipmaps()
        self._sprites.repeat_x = self._sprites.repeat_y = False

    # ------------------------------------------------------------------- posing

    def _write_balls(self, balls: np.ndarray) -> int:
        balls = balls[:MAX_BALLS].astype("f4")
        if len(balls):
            self._balls.write(balls.tobytes())
        return len(balls)

    def _pose(self, slot: int, actor: Actor, balls: int) -> tuple[Actor, dict[Any, Any], Any]:
        loaded = self._load(actor.person)
        arrays = self._slot_arrays(slot, actor.person, loaded)
        flat = np.ascontiguousarray(actor.matrices, "f4")
        self._bones.write(flat.tobytes())
        look = self._looks[slot]
        look.write(look_block(actor.look, loaded.figure).tobytes())
        self._bones.bind_to_uniform_block(0)
        self._balls.bind_to_uniform_block(1)
        look.bind_to_uniform_block(2)
        self._noise.use(0)
        program = self._programs.pose
        program["ball_count"].value = balls
        program["head_bone"].value = loaded.figure.head_bone
        count = loaded.posed_vertices(actor.look)
        arrays["pose"].transform(self._slots[slot], self._gl.POINTS, vertices=count)
        return actor, arrays, look

    def _load(self, person: int) -> FigureBuffers:
        if person not in self._loaded:
            self._loaded[person] = FigureBuffers.make(self._gl, self.figures[person])
        return self._loaded[person]

    def _slot_arrays(self, slot: int, person: int, loaded: FigureBuffers) -> dict[Any, Any]:
        while len(self._slots) <= slot:
            most = max(len(f.vertices) for f in self.figures)
            self._slots.append(self._gl.buffer(reserve=POSED_BYTES * most))
            self._looks.append(self._gl.buffer(reserve=16 * len(LookSlot), dynamic=True))
        key = slot, person
        if key not in self._arrays:
            self._arrays[key] = self._make_arrays(self._slots[slot], loaded)
        return self._arrays[key]

    def _make_arrays(self, posed: Any, loaded: FigureBuffers) -> dict[Any, Any]:
        static = loaded.vertices
        layout = "3f 3f 4u1 4u1 4f 4f 4f 4f 1f"
        names = ["rest", "normal", "bones0", "bones1", "weights0", "weights1"]
        names += ["region", "parts", "kind"]
        draw = [
            (posed, "3f 3f 1f", "position", "direction", "openness"),
            (static, "3f 12x 8x 32x 4f 4f 1f", "rest", "region", "parts", "kind"),
        ]
        make = self._gl.vertex_array
        arrays: dict[Any, Any] = {
            key: make(p, used(p, draw), loaded.indices) for key, p in self._programs.figures.items()
        }
        arrays["pose"] = make(self._programs.pose, [(static, layout, *names)])
        return arrays

    # ------------------------------------------------------------------ drawing

    def _set_stage(self, stage: Stage) -> None:
        self._stage = stage
        self._floor.write(np.ascontiguousarray(stage.floor, "f4").tobytes())
        for old in self._scenery.values():
            old.release()
        buffer = self._gl.buffer(np.ascontiguousarray(stage.scenery).tobytes())
        layout = [(buffer, "3f 3f 2f 4f 2f", "position", "normal", "uv", "paint", "finish")]
        programs = {
            "floor": self._programs.floor,
            "walls": self._programs.walls,
            "label": self._programs.scenery_label,
        }
        self._scenery = {
            name: self._gl.vertex_array(p, used(p, layout)) for name, p in programs.items()
        } | {"buffer": buffer}

    def _draw_contact(self, balls: int) -> None:
        self._balls.bind_to_uniform_block(1)
        self._programs.contact["ball_count"].value = balls
        self._programs.contact["contact_area"].value = self._stage.contact_area
        self._contact_frame.use()
        self._gl.disable(self._gl.DEPTH_TEST)
        self._contact_quad.render(self._gl.TRIANGLE_STRIP)

    def _draw_shadows(self, stage: Stage) -> None:
        gl = self._gl
        self._light_clip = stage.lighting.clip(stage.centre)
        clip = self._light_clip.T.astype("f4").tobytes()
        self._shadow_frame.use()
        self._shadow_frame.clear(depth=1.0)
        gl.enable(gl.DEPTH_TEST)
        self._draw_figures("shadow", clip)

    def _draw_figures(self, work: str, clip: bytes) -> None:
        self._noise.use(0)
        for material in Material:
            self._programs.figures[work, material]["clip"].write(clip)
        for actor, arrays, look in self._scene:
            look.bind_to_uniform_block(2)
            loaded = self._loaded[actor.person]
            for part, shells in parts_of(actor.look):
                if work == "shadow" and shells:
                    continue
                key = work, MATERIALS[part]
                program = self._programs.figures[key]
                if work == "label":
                    program["identity"].value = actor.label
                if key in self._programs.with_shells:
                    program["shells"].value = float(shells)
                first, count = loaded.parts[part]
                arrays[key].render(
                    self._gl.TRIANGLES, vertices=count, first=first, instances=max(shells, 1)
                )

    def _draw_colour(self, target: Target, camera: Camera, clip: bytes) -> None:
        gl, stage = self._gl, self._stage
        target.multi.use()
        target.multi.clear(0.5, 0.5, 0.5, 1.0, depth=1.0)
        gl.enable(gl.DEPTH_TEST)
        self._bind_textures()
        self._draw_backdrop(stage)
        self._write_light(stage.lighting, camera)
        self._floor.bind_to_uniform_block(3)
        for program in (self._programs.floor, self._programs.walls):
            program["clip"].write(clip)
        self._programs.floor["contact_area"].value = stage.contact_area
        self._programs.floor["viewport"].value = camera.size
        self._draw_figures("colour", clip)
        self._draw_scenery("colour")
        gl.copy_framebuffer(target.single, target.multi)

    def _draw_backdrop(self, stage: Stage) -> None:
        photo = stage.backdrop
        gl = self._gl
        gl.disable(gl.DEPTH_TEST)
        self._programs.backdrop["photographic"].value = float(photo is not None)
        if "flat_colour" in self._programs.backdrop:
            self._programs.backdrop["flat_colour"].value = stage.void
        self._backdrop_quad.render(gl.TRIANGLE_STRIP)
        gl.enable(gl.DEPTH_TEST)

    def _bind_textures(self) -> None:
        self._noise.use(0)
        self._photos.use(1)
        self._shadow_map.use(2)
        self._contact.use(3)
        photo = self._stage.backdrop
        (self._blank if photo is None else self._backdrops[photo]).use(4)
        self._sprites.use(5)

    def _write_light(self, light: Lighting, camera: Camera) -> None:
        block = np.zeros((12, 4), "f4")
        rows = (camera.eye, light.key_direction, light.key_colour, light.fill_direction,
                light.fill_colour, light.sky, light.ground, light.gain)  # fmt: skip
        block[:8, :3] = rows
        block[8:] = self._light_clip.T
        self._light.write(block.tobytes())
        self._light.bind_to_uniform_block(4)

    def _draw_film(self, target: Target, lens: Lens) -> None:
        program = self._programs.film
        target.film.use()
        self._gl.disable(self._gl.DEPTH_TEST)
        target.scene.use(6)
        program["size"].value = target.size
        for name in ("motion", "defocus", "grain", "tone", "lift"):
            program[name].value = getattr(lens, name)
        self._film_quad.render(self._gl.TRIANGLE_STRIP)

    def _draw_labels(self, target: Target, clip: bytes) -> None:
        target.labels.use()
        target.labels.clear(0.0, 0.0, 0.0, 0.0, depth=1.0)
        self._gl.enable(self._gl.DEPTH_TEST)
        self._sprites.use(5)
        self._draw_figures("label", clip)
        self._programs.scenery_label["clip"].write(clip)
        self._draw_scenery("label")

    def _draw_scenery(self, work: str) -> None:
        """Walls are seen from inside only, so that a camera may stand behind one."""
        gl, walls = self._gl, len(self._stage.scenery) - FLOOR_VERTICES
        gl.enable(gl.CULL_FACE)
        if work == "label":
            self._scenery["label"].render(gl.TRIANGLES)
        else:
            self._scenery["floor"].render(gl.TRIANGLES, vertices=FLOOR_VERTICES)
            if walls:
                self._scenery["walls"].render(gl.TRIANGLES, vertices=walls, first=FLOOR_VERTICES)
        gl.disable(gl.CULL_FACE)

    def _target(self, size: tuple[int, int]) -> Target:
        if size not in self._targets:
            self._targets[size] = Target.make(self._gl, size, self._samples)
        return self._targets[size]
