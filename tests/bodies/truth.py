"""Rendered pictures of pairs with their true keypoints, for tests and for the bench."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from pipeline.bodies import Region
from pipeline.bodies.crops import box_of
from pipeline.bodies.oks import match
from pipeline.footage import read_picture

PICTURES = Path(__file__).parent / "pictures"
"""Twelve pictures of people and looks that no weights were trained on, rendered by
`models.training.scenes`, one of each position chosen before anything was read on them."""

CLIPS = Path(__file__).parent / "clips"
"""A bout of 23 s with its true skeletons, made by ``bouts film``, 5 pictures a second."""


@dataclass(frozen=True)
class Scene:
    """One picture and what is true of it.

    Attributes
    ----------
    name : str
    image : ndarray, uint8, (H, W, 3)
    keypoints : ndarray, float32, (2, 17, 2)
        Pixels of both athletes.
    visible : ndarray, int, (2, 17)
        2 visible, 1 hidden, 0 outside the picture.
    """

    name: str
    image: np.ndarray
    keypoints: np.ndarray
    visible: np.ndarray

    @property
    def region(self) -> Region:
        """The box of both athletes' keypoints inside the picture."""
        return box_of(self.keypoints[self.visible > 0])


def people_in(coco: Path) -> Iterator[tuple[dict, np.ndarray]]:
    """Yield each image's entry and its people, (N, 17, 3): x, y and COCO's flag 0, 1 or 2."""
    data = json.loads(coco.read_text(encoding="utf-8"))
    for entry in data["images"]:
        people = [p["keypoints"] for p in data["annotations"] if p["image_id"] == entry["id"]]
        yield entry, np.array(people, np.float32).reshape(-1, 17, 3)


def pictures(folder: Path = PICTURES) -> list[Scene]:
    """Return the pictures of a folder with a ``truth.json``."""
    return [
        Scene(
            entry["file_name"],
            read_picture(folder / entry["file_name"]),
            people[..., :2],
            people[..., 2].astype(int),
        )
        for entry, people in people_in(folder / "truth.json")
    ]


def matched(found: Sequence[np.ndarray], scene: Scene) -> tuple[np.ndarray, np.ndarray]:
    """Put found bodies (17, 3) in the order of the true athletes.

    Returns
    -------
    bodies : ndarray, (2, 17, 3)
        NaN for an athlete that nobody found fits.
    alike : ndarray, (2,)
        Object keypoint similarity, over visible and hidden keypoints.
    """
    stacked = np.array(found, np.float32).reshape(-1, 17, 3)
    pairs = match(stacked[..., :2], scene.keypoints, scene.visible > 0)
    nobody = np.full((17, 3), np.nan, np.float32)
    bodies = np.stack([stacked[row] if row >= 0 else nobody for row, _ in pairs])
    return bodies, np.array([similarity for _, similarity in pairs])
