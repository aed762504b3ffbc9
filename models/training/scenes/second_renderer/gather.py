"""What the second renderer drew → ordinary shards; and the same views by our own renderer."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import cv2
import numpy as np

from ..body import Person
from ..camera import Camera
from ..clothing import Look, LookSlot
from ..pairs_file import Pairs
from ..picture import Picture, Studio, picture_of, random_lens
from ..raster import Shot
from ..shards import ShardWriter, worth_keeping
from ..textures import load_textures
from .describe import camera_of
from .scene_file import SceneFile, drawn_files, read_scene, scene_files

SHARD = 500
"""Pictures a shard."""


def gather(scenes: Path, pairs: Pairs, out: Path, seed: int = 0) -> int:
    """Put what is drawn so far into shards; return how many pictures.

    Parameters
    ----------
    scenes : Path
        Folder of scene files, with the pictures that ``draw`` laid beside them.
    pairs : Pairs
        Those that were described.
    out : Path
        Folder of the shards.
    seed : int
        Of the JPEG qualities.
    """
    return _write(out, "second", pairs, (p for _, p in _drawn(scenes, pairs)), seed)


def same_views(
    scenes: Path,
    pairs: Pairs,
    people: Sequence[Person],
    out: Path,
    seed: int = 0,
    report: Callable[[str], None] = print,
) -> int:
    """Draw the same pairs from the same cameras with our own renderer; return how many pictures.

    Of those views that `gather` keeps. Clothing, place, light and lens are random as in training;
    but for a few in which an athlete can now hardly be seen, both folders hold the same poses.
    """
    studio = Studio(people, load_textures(None), spectators=8)
    kept: dict[Path, list[Camera]] = {}
    for path, picture in _drawn(scenes, pairs):
        if worth_keeping(picture):
            kept.setdefault(path, []).append(picture.camera)

    def pictures() -> Iterator[Picture]:
        for path, cameras in kept.items():
            rng = np.random.default_rng([seed, int(path.stem[-5:])])
            staged = studio.scene(rng, pairs[read_scene(path).truth["pair"]])
            report(f"{path.stem}: {len(cameras)}")
            yield from studio.photograph(staged, [(c, random_lens(rng)) for c in cameras])

    return _write(out, "ours", pairs, pictures(), seed)


def _write(out: Path, name: str, pairs: Pairs, found: Iterator[Picture], seed: int) -> int:
    out.mkdir(parents=True, exist_ok=True)
    rng, count = np.random.default_rng(seed), 0
    templates = [str(t) for t in pairs.templates]
    with ShardWriter(out, templates, name, SHARD) as writer:
        for picture in found:
            quality = int(rng.integers(40, 96))
            if worth_keeping(picture):
                writer.append(picture, quality)
                count += 1
    return count


def _drawn(scenes: Path, pairs: Pairs) -> Iterator[tuple[Path, Picture]]:
    """Each picture that is drawn, with the scene's file."""
    for path in scene_files(scenes):
        scene = read_scene(path)
        for i, camera in enumerate(map(camera_of, scene.truth["cameras"])):
            picture, truth = drawn_files(path, i)
            if truth.is_file():
                bgr = cv2.imread(str(picture), cv2.IMREAD_COLOR)
                with np.load(truth, allow_pickle=False) as stored:
                    labels, depth = stored["labels"], stored["depth"]
                rgb = np.ascontiguousarray(np.asarray(bgr)[..., ::-1])
                yield path, _picture(Shot(rgb, labels, depth), camera, scene, pairs)


def _picture(shot: Shot, camera: Camera, scene: SceneFile, pairs: Pairs) -> Picture:
    said = scene.truth
    first, second = (
        _look(g, np.array(c)) for g, c in zip(said["gi"], said["colours"], strict=True)
    )
    return picture_of(
        shot,
        camera,
        np.array(said["keypoints"]),
        pair=pairs[said["pair"]],
        engaged=said["engaged"],
        looks=(first, second),
    )


def _look(gi: bool, colours: np.ndarray) -> Look:
    """As much of a look as a shard keeps: gi or not, and the two main colours (2, 3)."""
    slots = np.zeros((len(LookSlot), 4), np.float32)
    slots[LookSlot.TOP, :3], slots[LookSlot.BOTTOM, :3] = colours
    slots[LookSlot.TOP_CUT, 0] = 1.0
    return Look(slots, gi, 0.0, 0.0, False)
