"""The pair reader: both athletes from one look, however entangled.

Two networks on ONNX Runtime. `find` looks at the whole frame for the pair; `read` looks at a
square crop of the pair and gives two skeletons at once, which parts are hidden, who is on top and
scores for the coarse positions. Weights and their cards are in ``models/``; how they were made
is in ``models/training/reader``.
"""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path
from typing import NamedTuple

import cv2
import numpy as np

from pipeline.bodies.crops import CROP_SCALE, Crop, box_of, cut, square_around
from pipeline.bodies.look import COCO_MIRROR, Body, Look, Outline, Region
from pipeline.bodies.mat import Mat
from pipeline.bodies.network import Network
from pipeline.settings import BodiesSettings

READER_WEIGHTS = "pair_reader.onnx"
FINDER_WEIGHTS = "pair_finder.onnx"
STRIDE = 4
FINDER_STRIDE = 8
DOUBT = 0.35
"""Mean confidence of both bodies below which the pair is looked for again."""
MOST_PLACES = 2
"""Places of the finder that are read, beside the whole frame, before one is chosen."""
FOUND_SCALE = 1.15
"""The finder's boxes are rather too small than too large; by how much to widen them."""
LOOKING = 2
"""Goes up when the same weights are given other pictures, so that old readings are known as old."""
MAT_MARGIN = BodiesSettings().mat_margin


def weights_path(name: str) -> Path:
    """Return where a weights file of the package lies."""
    return Path(str(files("models") / name))


def _sigmoid(x: np.ndarray) -> np.ndarray:
    return 1 / (1 + np.exp(-np.clip(x, -30, 30)))


def decode(heatmaps: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Peak of each heatmap, refined by the weighted mean of its 5 × 5 neighbourhood.

    Parameters
    ----------
    heatmaps : ndarray (K, S, S)
        Probabilities.

    Returns
    -------
    points : ndarray (K, 2)
        Network input pixels.
    peak : ndarray (K,)
    """
    count, side = heatmaps.shape[:2]
    flat = heatmaps.reshape(count, -1).argmax(1)
    y, x = np.divmod(flat, side)
    padded = np.pad(heatmaps, ((0, 0), (2, 2), (2, 2)))
    offsets = np.arange(5)
    window = padded[
        np.arange(count)[:, None, None],
        y[:, None, None] + offsets[:, None],
        x[:, None, None] + offsets[None, :],
    ]
    total = window.sum((1, 2)) + 1e-12
    cx = x + (window.sum(1) * (offsets - 2)).sum(1) / total
    cy = y + (window.sum(2) * (offsets - 2)).sum(1) / total
    points = (np.stack([cx, cy], 1) + 0.5) * STRIDE
    return points, heatmaps.reshape(count, -1).max(1)


class PairReading(NamedTuple):
    """What the network says of one crop, in source pixels.

    Attributes
    ----------
    keypoints : ndarray, float32, (2, 17, 3)
        x, y, probability that the point is right.
    hidden : ndarray, bool, (2, 17)
    positions : dict of str to float
    top : float
        Probability that slot 0 is on top.
    outlines : tuple of Outline
        Where each body is seen.
    """

    keypoints: np.ndarray
    hidden: np.ndarray
    positions: dict[str, float]
    top: float
    outlines: tuple[Outline, Outline]


class PairReader:
    """Reads exactly two bodies, the pair, from a frame.

    Parameters
    ----------
    flip : bool
        Also read the mirrored crop and average: steadier, twice the time. For pictures.
    threads : int, optional
        Threads inside one run.
    reader, finder : Path, optional
        Other weights than the package's.
    """

    name = "pair"

    def __init__(
        self,
        flip: bool = False,
        threads: int | None = None,
        reader: Path | None = None,
        finder: Path | None = None,
    ) -> None:
        self._reader = Network(reader or weights_path(READER_WEIGHTS), threads)
        self._finder = Network(finder or weights_path(FINDER_WEIGHTS), threads)
        self.version = f"{self._reader.digest}-{self._finder.digest}-{LOOKING}"
        self._flip = flip
        self._slope, self._offset = self._reader.metadata.get("confidence", (1.0, 0.0))

    def read(self, image: np.ndarray, region: Region | None = None, mat: Mat | None = None) -> Look:
        """Read a frame; see `BodyReader.read`.

        With a region the pair is read there. If that leaves doubt, or without a region, the
        likeliest places of the finder and the whole frame are read and the surest reading is kept.
        The look's own region is the box of both bodies, to be handed to the next sample; None
        where the reader doubts. With a mat, only places on it are read, and a pair on it is kept
        before a surer one beside it.
        """
        reading = self.read_pair(image, region) if region is not None else None
        if reading is None or _confidence(reading) < DOUBT or _on(mat, reading) < 2:
            fresh = [self.read_pair(image, place) for place in self._places(image, mat)]
            known = [reading] if reading else []
            reading = max([*fresh, *known], key=lambda r: (_on(mat, r), _confidence(r)))
        return _look(reading)

    def _places(self, image: np.ndarray, mat: Mat | None) -> list[Region]:
        """Return where to look for the pair: the likeliest places, and all there is."""
        height, width = image.shape[:2]
        if mat is None:
            found = self.find_all(image)
            everywhere = Region(0, 0, width, height)
        else:
            everywhere = mat.reach
            found = [
                (place, score)
                for place, score in self.find_all(image, within=everywhere)
                if mat.holds_box(place, MAT_MARGIN)
            ]
        return [*(place for place, _ in found[:MOST_PLACES]), everywhere]

    def read_pair(self, image: np.ndarray, region: Region) -> PairReading:
        """Read the pair in a region; while it seems to lie partly outside, look again around it."""
        crop = square_around(region)
        readings = [self.read_crop(image, crop)]
        while _beside(crop, readings[-1]) and len(readings) < MOST_LOOKS:
            crop = square_around(_box(readings[-1]), CROP_SCALE * WIDER)
            readings.append(self.read_crop(image, crop))
        return max(readings, key=_confidence)

    def find(self, image: np.ndarray) -> Region | None:
        """Return where the pair is in a whole frame, or None if no pair is seen."""
        found = self.find_all(image)
        return found[0][0] if found else None

    def find_all(
        self, image: np.ndarray, least: float = 0.05, within: Region | None = None
    ) -> list[tuple[Region, float]]:
        """Return regions that may hold a pair, with scores 0–1, best first.

        Parameters
        ----------
        image : ndarray, uint8, (H, W, 3)
        least : float
            Lowest score.
        within : Region, optional
            Where to look, more closely the smaller it is; all of the picture by default.
        """
        height, width = image.shape[:2]
        frame = square_around(within or Region(0, 0, width, height), 1.0)
        side = frame.side
        maps = self._finder.run([cut(image, frame, self._finder.size)])[0]["maps"][0]
        score = _sigmoid(maps[0])
        local = cv2.dilate(score, np.ones((5, 5), np.uint8))
        found = []
        for y, x in zip(*np.nonzero((score >= local) & (score >= least)), strict=True):
            w, h = np.exp(np.clip(maps[1:3, y, x], -6, 0.2)) * side * FOUND_SCALE
            scale = FINDER_STRIDE * side / self._finder.size
            cx, cy = (x + 0.5) * scale + frame.x0, (y + 0.5) * scale + frame.y0
            box = Region(cx - w / 2, cy - h / 2, cx + w / 2, cy + h / 2)
            found.append((box, float(score[y, x])))
        return sorted(found, key=lambda item: -item[1])

    def read_crop(self, image: np.ndarray, crop: Crop) -> PairReading:
        """Read one square of a picture, once."""
        picture = cut(image, crop, self._reader.size)
        pictures = [picture, picture[:, ::-1]] if self._flip else [picture]
        outputs = [_Slots.of(raw) for raw in self._reader.run(pictures)]
        slots = outputs[0] if len(outputs) == 1 else outputs[0].mean_with(outputs[1].mirrored())
        points, peak = decode(slots.heatmaps.reshape(34, *slots.heatmaps.shape[2:]))
        scale = crop.side / self._reader.size
        keypoints = np.empty((2, 17, 3), np.float32)
        keypoints[..., :2] = (points * scale + (crop.x0, crop.y0)).reshape(2, 17, 2)
        logit = np.log(np.clip(peak, 1e-6, 1 - 1e-6) / np.clip(1 - peak, 1e-6, 1))
        keypoints[..., 2] = _sigmoid(self._slope * logit + self._offset).reshape(2, 17)
        names = self._reader.metadata["positions"]
        positions = dict(zip(names, (float(p) for p in slots.positions), strict=True))
        a, b = (Outline(crop.x0, crop.y0, crop.side, cover) for cover in slots.masks)
        return PairReading(keypoints, slots.visible < 0.5, positions, slots.top, (a, b))


NEAR_EDGE = 0.04
"""Share of the crop's side; keypoints nearer to its edge than that may have been cut off."""
OFF_CENTRE = 0.15
"""Share of the crop's side by which a pair may lie off its middle."""
WIDER = 1.2
"""How much wider further looks are: what lies outside the first has to be inside."""
MOST_LOOKS = 3
"""Looks at one place at most. A fourth would still help where a region is half wrong (similarity
0.61 to 0.67 on the test pictures), which is seldom while a pair is followed."""


class _Slots(NamedTuple):
    """Outputs of one run as probabilities."""

    heatmaps: np.ndarray
    masks: np.ndarray
    visible: np.ndarray
    positions: np.ndarray
    top: float

    @classmethod
    def of(cls, raw: dict[str, np.ndarray]) -> _Slots:
        side = raw["heatmaps"].shape[-1]
        logits = raw["positions"][0]
        scores = np.exp(logits - logits.max())
        return cls(
            _sigmoid(raw["heatmaps"]).reshape(2, 17, side, side),
            _sigmoid(raw["masks"])[0],
            _sigmoid(raw["visible"]).reshape(2, 17),
            scores / scores.sum(),
            float(_sigmoid(raw["top"]).item()),
        )

    def mirrored(self) -> _Slots:
        """The same, as if the crop had not been mirrored."""
        return self._replace(
            heatmaps=self.heatmaps[:, COCO_MIRROR, :, ::-1],
            masks=self.masks[..., ::-1],
            visible=self.visible[:, COCO_MIRROR],
        )

    def mean_with(self, other: _Slots) -> _Slots:
        """Average with another reading of the same crop, its slots put in the same order."""
        straight = float((self.heatmaps * other.heatmaps).sum())
        crossed = float((self.heatmaps * other.heatmaps[::-1]).sum())
        if crossed > straight:
            other = _Slots(
                other.heatmaps[::-1],
                other.masks[::-1],
                other.visible[::-1],
                other.positions,
                1 - other.top,
            )
        return _Slots(
            (self.heatmaps + other.heatmaps) / 2,
            (self.masks + other.masks) / 2,
            (self.visible + other.visible) / 2,
            (self.positions + other.positions) / 2,
            (self.top + other.top) / 2,
        )


def _confidence(reading: PairReading) -> float:
    return float(reading.keypoints[..., 2].mean())


def _on(mat: Mat | None, reading: PairReading) -> int:
    """Return how many of the two are on the mat."""
    if mat is None:
        return 2
    return sum(mat.holds_body(points, MAT_MARGIN) for points in reading.keypoints)


def _box(reading: PairReading) -> Region:
    return box_of(reading.keypoints[..., :2].reshape(-1, 2))


def _beside(crop: Crop, reading: PairReading) -> bool:
    """Whether the crop seems not to hold the whole pair, or holds it far from its middle."""
    corner = np.array([crop.x0, crop.y0])
    points = (reading.keypoints[..., :2].reshape(-1, 2) - corner) / crop.side
    low, high = points.min(0), points.max(0)
    cut_off = min(low.min(), 1 - high.max()) < NEAR_EDGE
    return bool(cut_off or np.abs((low + high) / 2 - 0.5).max() > OFF_CENTRE)


def _look(reading: PairReading) -> Look:
    bodies = tuple(
        Body(points, float(points[:, 2].mean()), hidden, outline)
        for points, hidden, outline in zip(
            reading.keypoints, reading.hidden, reading.outlines, strict=True
        )
    )
    sure = _confidence(reading) >= DOUBT
    region = _box(reading) if sure else None
    return Look(bodies, region, reading.positions, reading.top, pair=sure)
