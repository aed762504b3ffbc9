"""Stick figures that act: keypoints and painted pictures of people whose identity is known."""

from __future__ import annotations

import cv2
import numpy as np

from pipeline.bodies import COCO_LIMBS, Body, Look
from tests.geometry.stick import figure

BLUE, WHITE, BLACK, RED = (30, 60, 200), (235, 235, 235), (20, 20, 20), (200, 30, 30)
PICTURE = (240, 426)


def person(x: float, y: float = 120.0, stature: float = 110.0, **pose) -> np.ndarray:
    """Keypoints of a figure with its hips at (x, y)."""
    pose.setdefault("thighs", (170.0, 190.0))
    pose.setdefault("arms", (150.0, 210.0))
    pose.setdefault("breadth", 0.6)
    return figure(hip=(x, y), stature=stature, **pose)


def paint(people: list[np.ndarray], colours: list[tuple[int, int, int]]) -> np.ndarray:
    """A picture of people in one colour each on a green mat, first one farthest."""
    image = np.full((*PICTURE, 3), (90, 140, 90), dtype=np.uint8)
    for keypoints, colour in zip(people, colours, strict=True):
        for a, b in COCO_LIMBS:
            ends = keypoints[[a, b], :2].round().astype(int).tolist()
            cv2.line(image, *ends, colour, 9)
        cv2.fillPoly(image, [keypoints[[5, 6, 12, 11], :2].round().astype(np.int32)], colour)
    return image


def look(people: list[np.ndarray], rng: np.random.Generator, noise: float = 1.0, **more) -> Look:
    """People in random order with noise of `noise` pixels."""
    order = rng.permutation(len(people))
    bodies = []
    for i in order:
        keypoints = people[i].copy()
        keypoints[:, :2] += rng.normal(0, noise, (17, 2))
        keypoints[:, 2] = 0.9
        bodies.append(Body(keypoints.astype(np.float32), 0.9))
    return Look(tuple(bodies), **more)


def followed(found: np.ndarray, true: np.ndarray) -> np.ndarray:
    """Which true person (T,) a track follows: nearest by the middle of the body; −1 = nobody.

    `found` (T, 17, 3), `true` (T, N, 17, 3).
    """
    middle = np.nanmean(found[:, 5:, :2], axis=1) if len(found) else found
    distances = np.linalg.norm(np.nanmean(true[:, :, 5:, :2], axis=2) - middle[:, None], axis=-1)
    return np.where(np.isnan(middle[:, 0]), -1, np.nan_to_num(distances, nan=1e9).argmin(axis=1))
