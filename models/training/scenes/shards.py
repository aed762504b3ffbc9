"""Training shards: many pictures and their truth in one file that needs no pickle.

A shard is written whole to a temporary file and then renamed, so that a trainer may read those
that are there while others are being made.
"""

from __future__ import annotations

import itertools
import multiprocessing as mp
import os
import time
import zipfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields
from pathlib import Path

import cv2
import numpy as np

from pipeline.errors import MatlineError
from pipeline.timeline.vocabulary import POSITION_KEYS

from .arrays_file import write_arrays
from .body import load_cast
from .families import kept
from .pairs_file import Pairs, load_pairs
from .picture import LONG_SIDE, Picture, Studio, random_shots
from .textures import load_textures
from .variety import Variety

MAX_OTHERS = 12
SPECTATORS = 32
"""Different cut-out people that crowds are made of."""
TOP_CODES: Mapping[str | None, int] = {"A": 0, "B": 1, None: -1}


@dataclass(frozen=True)
class Order:
    """What a rendering run is asked to make.

    Attributes
    ----------
    pairs : tuple of Path
        Files of posed pairs.
    cast : Path
        The people in them.
    out : Path
        Folder of the shards.
    textures : Path or None
    workers : int
    seconds : float or None
        Stop after this long.
    count : int or None
        Or after this many pictures.
    seed : int
    views : int
        Cameras a scene.
    long_side : int
        Of a picture, pixels.
    shard_size : int
        Pictures a shard.
    devices : int
        How many GPUs the workers share.
    varied : bool
        Whether to draw poses around the solved ones (`variety`).
    leave_out_fold : int or None
        Whose families are not shown.
    """

    pairs: tuple[Path, ...]
    cast: Path
    out: Path
    textures: Path | None = None
    workers: int = 1
    seconds: float | None = None
    count: int | None = None
    seed: int = 0
    views: int = 4
    long_side: int = LONG_SIDE
    shard_size: int = 2000
    devices: int = 0
    varied: bool = False
    leave_out_fold: int | None = None


@dataclass
class ShardWriter:
    """Collects pictures and writes a shard whenever there are enough.

    Parameters
    ----------
    folder : Path
    templates : sequence of str
        All templates there are; a shard's ``template`` is a row of this.
    name : str
        Start of the file names.
    size : int
        Pictures a shard.
    first, step : int
        Number of the first shard, and from one to the next: several writers share a folder.
    """

    folder: Path
    templates: Sequence[str]
    name: str = "pictures"
    size: int = 2000
    first: int = 0
    step: int = 1
    written: list[Path] = field(default_factory=list)
    _rows: list[dict[str, np.ndarray]] = field(default_factory=list)
    _jpegs: list[np.ndarray] = field(default_factory=list)
    _masks: list[np.ndarray] = field(default_factory=list)

    def __enter__(self) -> ShardWriter:
        return self

    def __exit__(self, kind: object, *rest: object) -> None:
        if kind is None:
            self.flush()

    def append(self, picture: Picture, quality: int) -> None:
        """Add one picture, compressed at JPEG `quality`."""
        options = [cv2.IMWRITE_JPEG_QUALITY, quality]
        self._jpegs.append(cv2.imencode(".jpg", picture.rgb[..., ::-1], options)[1].ravel())
        level = [cv2.IMWRITE_PNG_COMPRESSION, 1]
        self._masks.append(cv2.imencode(".png", picture.mask, level)[1].ravel())
        self._rows.append(truth_row(picture, self.templates))
        if len(self._rows) >= self.size:
            self.flush()

    def flush(self) -> None:
        """Write what is there, if anything."""
        if not self._rows:
            return
        arrays = {key: np.stack([row[key] for row in self._rows]) for key in self._rows[0]}
        for key, blobs in (("jpeg", self._jpegs), ("mask_png", self._masks)):
            arrays[key] = np.concatenate(blobs)
            arrays[f"{key}_offsets"] = np.cumsum([0, *map(len, blobs)]).astype(np.int64)
        arrays["position_keys"] = np.array(POSITION_KEYS)
        arrays["templates"] = np.array(list(self.templates))
        number = self.first + self.step * len(self.written)
        path = self.folder / f"{self.name}_{number:05d}.npz"
        write_arrays(path, arrays, compressed=False)  # JPEG and PNG are compressed already
        self.written.append(path)
        self._rows, self._jpegs, self._masks = [], [], []


@dataclass(frozen=True)
class Shard:
    """A shard read back: n pictures and what is true of them.

    Attributes
    ----------
    keypoints : ndarray, float32, (n, 2, 17, 2)
        Pixels, COCO order; NaN behind the camera.
    visibility : ndarray, int8, (n, 2, 17)
        2 visible, 1 hidden, 0 outside the picture.
    points : ndarray, float32, (n, 2, 17, 3)
        The keypoints in the camera's frame: x right, y down, z forward, metres.
    size : ndarray, int16, (n, 2)
        Width and height in pixels.
    position, template : ndarray, int16, (n,)
        Rows of `position_keys` (−1: none of them) and `templates`.
    position_keys, templates : ndarray of str
    top : ndarray, int8, (n,)
        0 A, 1 B, −1 nobody.
    people : ndarray, int32, (n, 2)
        Rows of the cast.
    camera : ndarray, float32, (n, 4)
        Elevation (degrees), distance (m), field of view and roll (degrees).
    gi : ndarray, bool, (n, 2)
    colours : ndarray, float16, (n, 2, 2, 3)
        Main colour of top and bottom, linear.
    engaged, mirrored : ndarray, bool, (n,)
        Whether the bodies touch; whether the template was mirrored.
    """

    keypoints: np.ndarray
    visibility: np.ndarray
    points: np.ndarray
    size: np.ndarray
    position: np.ndarray
    template: np.ndarray
    position_keys: np.ndarray
    templates: np.ndarray
    top: np.ndarray
    people: np.ndarray
    camera: np.ndarray
    gi: np.ndarray
    colours: np.ndarray
    engaged: np.ndarray
    mirrored: np.ndarray
    other_boxes: np.ndarray
    jpeg: np.ndarray
    jpeg_offsets: np.ndarray
    mask_png: np.ndarray
    mask_png_offsets: np.ndarray

    def __len__(self) -> int:
        return len(self.position)

    def image(self, i: int) -> np.ndarray:
        """Picture i, RGB, uint8 (H, W, 3)."""
        a, b = self.jpeg_offsets[i : i + 2]
        bgr = np.asarray(cv2.imdecode(self.jpeg[a:b], cv2.IMREAD_COLOR))
        return np.ascontiguousarray(bgr[..., ::-1])

    def mask(self, i: int) -> np.ndarray:
        """Who is seen, at half size: 0 nobody, 1 A, 2 B, 3 others; uint8 (H/2, W/2)."""
        a, b = self.mask_png_offsets[i : i + 2]
        return np.asarray(cv2.imdecode(self.mask_png[a:b], cv2.IMREAD_UNCHANGED))

    def others(self, i: int) -> np.ndarray:
        """Boxes around what is seen of other people, float32 (N, 4): x0, y0, x1, y1 pixels."""
        boxes = self.other_boxes[i]
        return boxes[np.isfinite(boxes[:, 0])]


def read_shard(path: str | Path) -> Shard:
    """Read one shard.

    Raises
    ------
    MatlineError
        If the file is missing or not a shard.
    """
    try:
        with np.load(path, allow_pickle=False) as stored:
            return Shard(**{f.name: stored[f.name] for f in fields(Shard)})
    except (OSError, ValueError, KeyError, zipfile.BadZipFile) as error:
        raise MatlineError(f"{path} is not a shard of pictures: render it again.") from error


def truth_row(picture: Picture, templates: Sequence[str]) -> dict[str, np.ndarray]:
    """One picture's row in a shard, without the picture itself (see `Shard`)."""
    camera, pair = picture.camera, picture.pair
    others = np.full((MAX_OTHERS, 4), np.nan, np.float32)
    kept = picture.others[:MAX_OTHERS]
    others[: len(kept)] = kept
    view = [camera.elevation, camera.distance, camera.fov, camera.roll]
    position = POSITION_KEYS.index(pair.position) if pair.position else -1
    return {
        "size": np.array(camera.size, np.int16),
        "keypoints": picture.keypoints,
        "visibility": picture.visible,
        "points": picture.points,
        "other_boxes": others,
        "position": np.array(position, np.int16),
        "top": np.array(TOP_CODES[pair.top], np.int8),
        "template": np.array(list(templates).index(pair.template), np.int16),
        "people": np.array([b.person for b in pair.bodies], np.int32),
        "camera": np.array(view, np.float32),
        "gi": np.array([look.gi for look in picture.looks]),
        "colours": np.stack([look.main_colours() for look in picture.looks]).astype(np.float16),
        "engaged": np.array(picture.engaged),
        "mirrored": np.array(pair.mirrored),
    }


def render(order: Order, report: Callable[[str], None] = print) -> list[Path]:
    """Render shards with several processes.

    Parameters
    ----------
    order : Order
    report : callable
        Gets a line of progress now and then.

    Returns
    -------
    list of Path
        The shards written.

    Raises
    ------
    MatlineError
        If nothing says when to stop, or a worker failed.
    """
    if order.seconds is None and order.count is None:
        raise MatlineError("Nothing says when to stop: give a number of seconds or of pictures.")
    order.out.mkdir(parents=True, exist_ok=True)
    if order.workers == 1:
        return _work(order, 0, report)
    for library in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ.setdefault(library, "1")  # or every worker would use every core
    spawn = mp.get_context("spawn")  # OpenGL contexts do not survive a fork
    with spawn.Pool(order.workers) as pool:
        jobs = [pool.apply_async(_work, (order, w, print)) for w in range(order.workers)]
        return sorted(itertools.chain.from_iterable(job.get() for job in jobs))


def _work(order: Order, worker: int, report: Callable[[str], None]) -> list[Path]:
    cv2.setNumThreads(1)
    pairs = _chosen(load_pairs(*order.pairs), order.leave_out_fold)
    device = worker % order.devices if order.devices else None
    studio = Studio(
        load_cast(order.cast), load_textures(order.textures), device, spectators=SPECTATORS
    )
    if worker == 0:
        report(f"{studio.raster.renderer}; {len(pairs)} pairs, {len(studio.people)} people")
    share = None if order.count is None else len(range(worker, order.count, order.workers))
    started, made, told = time.monotonic(), 0, time.monotonic()
    templates, name = [str(t) for t in pairs.templates], f"pictures_{order.seed:03d}"
    writer = ShardWriter(order.out, templates, name, order.shard_size, worker, order.workers)
    with writer as out:
        for picture, quality in stream(studio, pairs, order, worker):
            if share is not None and made >= share:
                break
            if order.seconds is not None and time.monotonic() - started > order.seconds:
                break
            out.append(picture, quality)
            made += 1
            if worker == 0 and time.monotonic() - told > 10:
                told = time.monotonic()
                rate = made / (told - started)
                report(f"{made} pictures by this worker, {rate:.1f} a second")
    spent = time.monotonic() - started
    report(f"worker {worker}: {made} pictures in {spent:.1f} s, {made / spent:.1f} a second")
    return out.written


def _chosen(pairs: Pairs, leave_out_fold: int | None) -> Pairs:
    """Leave out the pairs of a fold's families, if one is named."""
    if leave_out_fold is None:
        return pairs
    learned = kept([str(name) for name in pairs.templates], leave_out_fold)
    return pairs.where(np.isin(pairs.templates, learned)[pairs.template])


def stream(
    studio: Studio, pairs: Pairs, order: Order, worker: int
) -> Iterator[tuple[Picture, int]]:
    """Endless pictures of one worker, each with its JPEG quality.

    What is drawn depends on the seed, the worker's number and the number of workers alone.
    Pictures in which an athlete can hardly be seen are left out.
    """
    variety = Variety(studio.figures, studio.matrices)
    shuffle = np.random.default_rng(order.seed).permutation(len(pairs))
    for turn in itertools.count():
        for i in shuffle[worker :: order.workers] if len(pairs) >= order.workers else shuffle:
            rng = np.random.default_rng([order.seed, worker, turn, int(i)])
            neighbour = pairs[int(rng.integers(len(pairs)))]
            pair = pairs[int(i)]
            if order.varied:
                pair = variety.draw(rng, pair, neighbour)
            scene = studio.scene(rng, pair, neighbour)
            shots = random_shots(rng, scene, order.views, order.long_side)
            quality = rng.integers(28, 96, len(shots))
            for picture, q in zip(studio.photograph(scene, shots), quality, strict=True):
                if worth_keeping(picture):
                    yield picture, int(q)


def worth_keeping(picture: Picture, least_pixels: int = 120, least_points: int = 5) -> bool:
    """Whether both athletes show enough to learn from."""
    area = [(picture.mask == label).sum() for label in (1, 2)]
    seen = (picture.visible == 2).sum(1)
    return min(area) >= least_pixels and seen.min() >= 2 and seen.sum() >= 2 * least_points
