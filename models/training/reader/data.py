"""Shards of rendered pictures → crops on the GPU, taken in while rendering still goes on."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path

import cv2
import numpy as np
import torch
from torch import Tensor

from models.training.reader.network import FRAME
from models.training.scenes.shards import Shard, read_shard
from pipeline.bodies.crops import Crop, cut, square_around
from pipeline.bodies.look import Region

STORED = 320
"""Side of a stored crop, pixels."""
STORED_SCALE = 1.7
"""Side of a stored crop over the long side of the pair: room to move the framing in."""
MIN_VISIBLE = 4
"""Keypoints of each athlete that must be in the picture."""


def keypoint_box(keypoints: np.ndarray, visible: np.ndarray) -> Region:
    """Return the box of the keypoints (…, 2) inside the picture."""
    points = keypoints[visible > 0]
    (x0, y0), (x1, y1) = points.min(0), points.max(0)
    return Region(float(x0), float(y0), float(x1), float(y1))


def usable(shard: Shard) -> np.ndarray:
    """Return which pictures show enough of both athletes, bool (N,)."""
    finite = np.isfinite(shard.keypoints).all((1, 2, 3))
    return finite & ((shard.visibility > 0).sum(2) >= MIN_VISIBLE).all(1)


@dataclass
class Crops:
    """A batch of stored crops on the CPU; the shapes `Store` keeps."""

    image: np.ndarray
    labels: np.ndarray
    keypoints: np.ndarray
    visible: np.ndarray
    position: np.ndarray
    top: np.ndarray
    template: np.ndarray


def crop_picture(shard: Shard, i: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Cut the pair out of one picture: image, labels and keypoints of the stored crop."""
    crop = square_around(keypoint_box(shard.keypoints[i], shard.visibility[i]), STORED_SCALE)
    image = cut(shard.image(i), crop, STORED)
    half = Crop(crop.x0 / 2, crop.y0 / 2, crop.side / 2)
    labels = np.stack(
        [cut((shard.mask(i) == k).astype(np.uint8) * 255, half, STORED // 2) for k in (1, 2, 3)]
    )
    covered = labels.max(0) > 127
    label = np.where(covered, labels.argmax(0) + 1, 0).astype(np.uint8)
    keypoints = (shard.keypoints[i] - (crop.x0, crop.y0)) * (STORED / crop.side)
    return image, label, keypoints.astype(np.float32)


def crops_of(path: Path) -> Crops:
    """Cut every usable picture of a shard."""
    cv2.setNumThreads(1)  # many processes do this side by side
    shard = read_shard(path)
    chosen = np.flatnonzero(usable(shard))
    parts = [crop_picture(shard, int(i)) for i in chosen]
    return Crops(
        np.stack([p[0] for p in parts]).transpose(0, 3, 1, 2),
        np.stack([p[1] for p in parts]),
        np.stack([p[2] for p in parts]),
        shard.visibility[chosen].astype(np.int8),
        shard.position[chosen].astype(np.int16),
        shard.top[chosen].astype(np.int8),
        shard.template[chosen].astype(np.int16),
    )


class Store:
    """Crops on a device, filled from a folder of shards in the background.

    Parameters
    ----------
    folder : Path
        Read again and again until `stop`; a shard is taken when its name appears.
    device : torch.device
    capacity : int
        Crops to keep room for (about 330 kB each).
    part, parts : int
        Takes every `parts`-th shard, beginning with the `part`-th: one part a process.
    readers : int
        Processes that read and cut.
    """

    def __init__(
        self,
        folder: Path,
        device: torch.device,
        capacity: int,
        part: int = 0,
        parts: int = 1,
        readers: int = 4,
    ) -> None:
        self.folder, self.device, self.capacity = folder, device, capacity
        self.part, self.parts = part, parts
        half = STORED // 2

        def empty(*shape: int, dtype: torch.dtype) -> Tensor:
            return torch.zeros((capacity, *shape), dtype=dtype, device=device)

        self.image = empty(3, STORED, STORED, dtype=torch.uint8)
        self.labels = empty(half, half, dtype=torch.uint8)
        self.keypoints = empty(2, 17, 2, dtype=torch.float32)
        self.visible = empty(2, 17, dtype=torch.int8)
        self.position = empty(dtype=torch.int16)
        self.top = empty(dtype=torch.int8)
        self.count = 0
        self._taken: set[str] = set()
        self._stop = threading.Event()
        # Processes, not threads: cutting would keep the training loop waiting for the interpreter.
        self._pool = ProcessPoolExecutor(readers, mp_context=get_context("spawn"))

    def take_new(self) -> int:
        """Take in shards that have appeared; return how many."""
        mine = [
            path
            for path in sorted(self.folder.glob("*.npz"))
            if int(path.stem.rsplit("_", 1)[-1]) % self.parts == self.part
            and path.name not in self._taken
        ]
        taken = 0
        for path, crops in zip(mine, self._pool.map(crops_of, mine), strict=True):
            if self.count >= self.capacity or self._stop.is_set():
                break
            self._taken.add(path.name)
            self._append(crops)
            taken += 1
        return taken

    def watch(self, every_s: float = 5.0) -> None:
        """Take in new shards from a thread until `stop`."""

        def loop() -> None:
            if self.device.type == "cuda":
                torch.cuda.set_device(self.device)
            while not self._stop.is_set():
                self.take_new()
                self._stop.wait(every_s)

        threading.Thread(target=loop, daemon=True).start()

    def stop(self) -> None:
        """Stop watching."""
        self._stop.set()

    def wait_for(self, count: int, timeout_s: float) -> None:
        """Wait until `count` crops are here.

        Raises
        ------
        TimeoutError
        """
        end = time.monotonic() + timeout_s
        while self.count < count:
            if time.monotonic() > end:
                raise TimeoutError(f"only {self.count} of {count} crops after {timeout_s:.0f} s")
            time.sleep(1.0)

    def _append(self, crops: Crops) -> None:
        start = self.count
        n = min(len(crops.image), self.capacity - start)
        for name in ("image", "labels", "keypoints", "visible", "position", "top"):
            values = torch.from_numpy(np.ascontiguousarray(getattr(crops, name)[:n]))
            getattr(self, name)[start : start + n].copy_(values)
        self.count = start + n  # last, so that a reader never sees a half-filled row

    def batches(self, size: int) -> Iterator[slice]:
        """Yield slices over everything here, in order."""
        for start in range(0, self.count, size):
            yield slice(start, min(start + size, self.count))


@dataclass
class Frames:
    """Whole frames for the finder, letterboxed: image (N, 3, 320, 320) and boxes.

    Attributes
    ----------
    image : Tensor, uint8
    pair : Tensor, float32, (N, 4)
        x0, y0, x1, y1 in letterboxed pixels.
    engaged : Tensor, float32, (N,)
    others : Tensor, float32, (N, 6, 4)
        Other people's boxes; NaN where there are fewer.
    """

    image: Tensor
    pair: Tensor
    engaged: Tensor
    others: Tensor


MOST_OTHERS = 6


def letterbox(shard: Shard, i: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Fit one picture into the finder's square: image, pair box (4,), others (6, 4)."""
    image = shard.image(i)
    height, width = image.shape[:2]
    side = float(max(height, width))
    frame = Crop((width - side) / 2, (height - side) / 2, side)
    scale = FRAME / side
    shift = np.array([frame.x0, frame.y0] * 2)
    box = keypoint_box(shard.keypoints[i], shard.visibility[i])
    pair = (np.array([box.x0, box.y0, box.x1, box.y1]) - shift) * scale
    others = np.full((MOST_OTHERS, 4), np.nan, np.float32)
    boxes = (shard.others(i)[:MOST_OTHERS] - shift) * scale
    others[: len(boxes)] = boxes
    return cut(image, frame, FRAME), pair, others


def load_frames(
    paths: list[Path], device: torch.device, most: int, progress: Callable[[str], None] = print
) -> Frames:
    """Load up to `most` whole frames from shards."""
    images, pairs, engaged, others = [], [], [], []
    count = 0
    with ThreadPoolExecutor(8) as pool:
        for path in paths:
            shard = read_shard(path)
            chosen = np.flatnonzero(usable(shard))[: most - count]
            parts = list(pool.map(lambda i, s=shard: letterbox(s, int(i)), chosen))  # type: ignore[misc]
            batch = np.stack([p[0] for p in parts]).transpose(0, 3, 1, 2)
            images.append(torch.from_numpy(np.ascontiguousarray(batch)).to(device))
            pairs += [p[1] for p in parts]
            others += [p[2] for p in parts]
            engaged.append(shard.engaged[chosen].astype(np.float32))
            count += len(chosen)
            if count >= most:
                break
    progress(f"{count} whole frames loaded")
    return Frames(
        torch.cat(images),
        torch.tensor(np.stack(pairs), dtype=torch.float32, device=device),
        torch.tensor(np.concatenate(engaged), device=device),
        torch.tensor(np.stack(others), dtype=torch.float32, device=device),
    )
