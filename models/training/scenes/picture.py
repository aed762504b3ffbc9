"""From a posed pair to pictures of it, with their truth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from .body import Person
from .bystanders import pose_bystander, random_stance
from .camera import Camera, random_camera
from .clothing import Look, bystander_look, random_looks
from .figures import build_figure
from .pose import BodyPose, PosedPair
from .raster import Actor, Lens, Raster, Shot
from .scenery import SPRITE_HEIGHT_M, SPRITE_SIZE
from .surroundings import Stage, random_stage
from .textures import Textures
from .truth import OTHER, instance_mask, seen_boxes, touching, visibility

LONG_SIDE = 448


@dataclass(frozen=True)
class Picture:
    """One picture and all that is true of it.

    Attributes
    ----------
    rgb : ndarray, uint8, (H, W, 3)
    keypoints : ndarray, float32, (2, 17, 2)
        Pixels of athletes A and B, COCO order; NaN behind the camera.
    visible : ndarray, int8, (2, 17)
        2 visible, 1 hidden by a body or thing, 0 outside the picture.
    points : ndarray, float32, (2, 17, 3)
        The same keypoints in the camera's frame: x right, y down, z forward, metres.
    mask : ndarray, uint8, (H/2, W/2)
        0 nobody, 1 A, 2 B, 3 other people; what is seen only.
    others : ndarray, float32, (N, 4)
        x0, y0, x1, y1 of what is seen of other people, pixels.
    pair : PosedPair
    engaged : bool
        Whether the two bodies touch.
    camera : Camera
    looks : tuple of Look
        A's and B's.
    """

    rgb: np.ndarray
    keypoints: np.ndarray
    visible: np.ndarray
    points: np.ndarray
    mask: np.ndarray
    others: np.ndarray
    pair: PosedPair
    engaged: bool
    camera: Camera
    looks: tuple[Look, Look]


@dataclass(frozen=True)
class Scene:
    """A pair, who is around it, and where; ready to be photographed from anywhere.

    Attributes
    ----------
    pair : PosedPair
    actors : tuple of Actor
        A, B, then others.
    stage : Stage
    keypoints : ndarray, float32, (2, 17, 3)
        World, metres.
    low, high : ndarray, (3,)
        Box around the pair.
    engaged : bool
    """

    pair: PosedPair
    actors: tuple[Actor, ...]
    stage: Stage
    keypoints: np.ndarray
    low: np.ndarray
    high: np.ndarray
    engaged: bool


class Studio:
    """People, textures and a renderer: makes scenes and photographs them.

    Parameters
    ----------
    people : sequence of Person
        The cast; `BodyPose.person` is an index into it.
    textures : Textures
    device : int, optional
        EGL device (GPU).
    samples : int
        Samples a pixel.
    spectators : int
        How many cut-out people to prepare for the crowd.
    """

    def __init__(
        self,
        people: Sequence[Person],
        textures: Textures,
        device: int | None = None,
        samples: int = 4,
        spectators: int = 0,
    ) -> None:
        self.people = list(people)
        self.textures = textures
        self.figures = [build_figure(p) for p in people]
        self.raster = Raster(self.figures, textures.photos, textures.backdrops, device, samples)
        self._spectators = spectators
        if spectators:
            self.raster.set_sprites(self._cut_out_spectators(spectators))

    def looks(self, rng: np.random.Generator, pair: PosedPair) -> tuple[Look, Look]:
        """Dress a pair at random."""
        women = [self.figures[b.person].woman for b in pair.bodies]
        first, second = random_looks(rng, women, len(self.textures.photos))
        return (first, second) if rng.random() < 0.5 or women[0] != women[1] else (second, first)

    def scene(
        self,
        rng: np.random.Generator,
        pair: PosedPair,
        neighbours: PosedPair | None = None,
        looks: tuple[Look, Look] | None = None,
        photographs_behind: bool = True,
    ) -> Scene:
        """Put a pair into random surroundings.

        Parameters
        ----------
        rng : numpy Generator
        pair : PosedPair
        neighbours : PosedPair, optional
            Who may be on the next mat; in three scenes of ten they are.
        looks : tuple of Look, optional
            Random by default.
        photographs_behind : bool
            Whether a photograph may take the hall's place; not for a camera that moves.
        """
        looks = looks or self.looks(rng, pair)
        matrices = [self.matrices(b) for b in pair.bodies]
        actors = [
            Actor(b.person, m, look, i + 1)
            for i, (b, m, look) in enumerate(zip(pair.bodies, matrices, looks, strict=True))
        ]
        _, low, high = self._extent(actors)
        centre = (low + high) / 2
        others = self._bystanders(rng, centre, high - low)
        if neighbours is not None and rng.random() < 0.3:
            others += self._second_pair(rng, neighbours, centre, OTHER + len(others))
        backdrops = len(self.textures.backdrops) if photographs_behind else 0
        stage = random_stage(rng, centre, len(self.textures.photos), backdrops, self._spectators)
        return self._scene(pair, (*actors, *others), stage)

    def move(self, scene: Scene, pair: PosedPair) -> Scene:
        """The same scene a moment later: the pair in a new pose, everything else as it was."""
        posed = [
            replace(actor, matrices=self.matrices(body))
            for actor, body in zip(scene.actors, pair.bodies, strict=False)
        ]
        moved = self._scene(pair, (*posed, *scene.actors[2:]), scene.stage)
        x, y = (moved.low + moved.high)[:2] / 2
        stage = replace(
            scene.stage,
            centre=np.array([x, y, 0.6]),
            contact_area=(float(x), float(y), *scene.stage.contact_area[2:]),
        )
        return replace(moved, stage=stage)

    def photograph(self, scene: Scene, shots: Sequence[tuple[Camera, Lens]]) -> list[Picture]:
        """Take pictures of one scene from several cameras."""
        self.raster.stage(scene.actors, scene.stage)
        return [self._picture(scene, camera, lens) for camera, lens in shots]

    def matrices(self, body: BodyPose) -> np.ndarray:
        """Bone matrices of one body, float32, (J, 3, 4)."""
        bones = self.people[body.person].fk(body.joints, body.rotation, body.translation)
        return self.figures[body.person].matrices(bones)

    def _picture(self, scene: Scene, camera: Camera, lens: Lens) -> Picture:
        shot = self.raster.shoot(camera, lens)
        looks = scene.actors[0].look, scene.actors[1].look
        return picture_of(
            shot, camera, scene.keypoints, pair=scene.pair, engaged=scene.engaged, looks=looks
        )

    def _scene(self, pair: PosedPair, actors: tuple[Actor, ...], stage: Stage) -> Scene:
        keypoints, low, high = self._extent(actors[:2])
        balls = [self.figures[a.person].posed_balls(a.matrices) for a in actors[:2]]
        return Scene(pair, actors, stage, keypoints, low, high, touching(balls))

    def _extent(self, actors: Sequence[Actor]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        keypoints = np.stack([self.figures[a.person].keypoints(a.matrices) for a in actors])
        return keypoints, keypoints.min((0, 1)) - 0.1, keypoints.max((0, 1)) + 0.1

    def _bystanders(
        self, rng: np.random.Generator, centre: np.ndarray, size: np.ndarray
    ) -> list[Actor]:
        """A referee at times, and up to four others, close by or at the mat's edge."""
        others: list[Actor] = []
        reach = float(np.hypot(size[0], size[1])) / 2
        referee = rng.random() < 0.3
        for i in range(int(referee) + rng.choice(5, p=(0.45, 0.22, 0.15, 0.10, 0.08))):
            is_referee = referee and i == 0
            near, far = (0.35, 1.8) if is_referee or rng.random() < 0.3 else (1.4, 5.0)
            away, round_ = reach + rng.uniform(near, far), rng.uniform(0, 2 * np.pi)
            place = centre[:2] + away * np.array([np.cos(round_), np.sin(round_)])
            watching = is_referee or rng.random() < 0.75
            facing = round_ + np.pi + rng.normal(0, 0.3) if watching else rng.uniform(0, 2 * np.pi)
            others.append(self._bystander(rng, place, facing, is_referee, OTHER + i))
        return others

    def _bystander(
        self, rng: np.random.Generator, place: np.ndarray, facing: float, referee: bool, label: int
    ) -> Actor:
        who = int(rng.integers(len(self.people)))
        stance = random_stance(rng, referee)
        figure = self.figures[who]
        bones = pose_bystander(rng, self.people[who], stance, place, facing)
        look = bystander_look(rng, figure.woman, len(self.textures.photos), referee)
        return Actor(who, figure.on_floor(figure.matrices(bones)), look, label)

    def _cut_out_spectators(self, count: int) -> np.ndarray:
        """Photograph people one by one, uint8 (count, H, W, 4), transparent around them."""
        rng = np.random.default_rng(0)
        out = []
        width, height = SPRITE_SIZE
        fov = 2 * np.degrees(np.arctan(SPRITE_HEIGHT_M / 2 / 8))
        for _ in range(count):
            actor = self._bystander(rng, np.zeros(2), rng.normal(-np.pi / 2, 0.4), False, OTHER)
            middle = np.array([0, 0, SPRITE_HEIGHT_M / 2])
            camera = Camera(middle + np.array([0, -8, 0.6]), middle, 0.0, fov, (width, height))
            self.raster.stage([actor], random_stage(rng, np.zeros(3), 1, 0))
            shot = self.raster.shoot(camera, Lens())
            out.append(np.dstack([shot.rgb, np.where(shot.labels == OTHER, 255, 0)]))
        return np.stack(out).astype(np.uint8)

    def _second_pair(
        self, rng: np.random.Generator, pair: PosedPair, centre: np.ndarray, label: int
    ) -> list[Actor]:
        looks = self.looks(rng, pair)
        middle = np.mean([b.translation for b in pair.bodies], 0)
        away, round_ = rng.uniform(2.2, 5.5), rng.uniform(0, 2 * np.pi)
        shift = centre[:2] + away * np.array([np.cos(round_), np.sin(round_)]) - middle[:2]
        actors = []
        moved = pair.shifted(np.array([*shift, 0.0]))
        for i, (body, look) in enumerate(zip(moved.bodies, looks, strict=True)):
            actors.append(Actor(body.person, self.matrices(body), look, label + i))
        return actors


def picture_of(
    shot: Shot,
    camera: Camera,
    keypoints: np.ndarray,
    *,
    pair: PosedPair,
    engaged: bool,
    looks: tuple[Look, Look],
) -> Picture:
    """Say what is true of what a renderer drew.

    Parameters
    ----------
    shot : Shot
    camera : Camera
    keypoints : ndarray, (2, 17, 3)
        World, metres.
    pair, engaged, looks
        See `Picture`.
    """
    visible = [
        visibility(camera, keypoints[i], shot.labels, shot.depth, i + 1, looks[i].gi)
        for i in range(2)
    ]
    return Picture(
        rgb=shot.rgb,
        keypoints=camera.project(keypoints)[..., :2].astype(np.float32),
        visible=np.stack(visible),
        points=camera.in_camera(keypoints).astype(np.float32),
        mask=instance_mask(shot.labels),
        others=seen_boxes(shot.labels),
        pair=pair,
        engaged=engaged,
        camera=camera,
        looks=looks,
    )


def random_shots(
    rng: np.random.Generator, scene: Scene, count: int, long_side: int = LONG_SIDE
) -> list[tuple[Camera, Lens]]:
    """Draw cameras, each with its own optics and sensor."""
    return [
        (random_camera(rng, scene.low, scene.high, long_side), random_lens(rng))
        for _ in range(count)
    ]


def random_lens(rng: np.random.Generator) -> Lens:
    """Draw blur, noise, blockiness, contrast and the like; a third of pictures are clean."""
    motion = (0.0, 0.0)
    if rng.random() < 0.2:
        length, turn = rng.gamma(1.6, 2.2), rng.uniform(0, np.pi)
        motion = float(length * np.cos(turn)), float(length * np.sin(turn))
    noisy = rng.random()
    grain = 0.0 if noisy < 0.3 else float(rng.gamma(1.5, 0.014))
    return Lens(
        motion=motion,
        defocus=float(rng.uniform(0.5, 2.2)) if rng.random() < 0.15 else 0.0,
        grain=(grain, grain * float(rng.uniform(0, 1.5)), float(rng.uniform(0, 90)),
               float(rng.choice((1.0, 1.5, 2.0, 3.0), p=(0.86, 0.07, 0.05, 0.02)))),
        tone=(float(np.clip(rng.normal(1.08, 0.14), 0.65, 1.5)),
              float(np.clip(rng.normal(1.0, 0.2), 0.05, 1.6)),
              float(rng.uniform(0, 0.5)) if rng.random() < 0.4 else 0.0,
              float(rng.uniform(0, 1.0)) if rng.random() < 0.4 else 0.0),
        lift=(float(rng.normal(0.0, 0.025)), float(np.exp(rng.normal(0, 0.13)))),
    )  # fmt: skip
