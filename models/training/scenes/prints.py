"""Prints for walls, banners and rash guards that are drawn from numbers: nobody's photographs."""

from __future__ import annotations

import cv2
import numpy as np

from .textures import TILE_SIZE, Textures


def drawn_prints(count: int = 16, seed: int = 0) -> Textures:
    """Draw plain geometric prints; there are no backdrops among them.

    Parameters
    ----------
    count : int
    seed : int

    Returns
    -------
    Textures
    """
    rng = np.random.default_rng(seed)
    return Textures(np.stack([_print(rng) for _ in range(count)]), ())


def _print(rng: np.random.Generator) -> np.ndarray:
    """A ground of blended colours with a few shapes of one kind on it, faded."""
    width, height = TILE_SIZE
    corners = rng.integers(0, 256, (2, 2, 3)).astype(np.uint8)
    out = np.asarray(cv2.resize(corners, TILE_SIZE, interpolation=cv2.INTER_LINEAR))
    draw = (_disc, _triangle, _bar)[int(rng.integers(3))]
    for _ in range(int(rng.integers(2, 9))):
        middle = rng.integers(0, (width, height))
        colour = [int(c) for c in rng.integers(0, 256, 3)]
        draw(out, middle, int(rng.integers(12, 90)), float(rng.uniform(0, 2 * np.pi)), colour)
    strength, tint = rng.uniform(0.15, 0.5), rng.uniform(60, 200, 3)
    return (tint + strength * (out - tint)).astype(np.uint8)


def _disc(out: np.ndarray, middle: np.ndarray, size: int, turn: float, colour: list[int]) -> None:
    x, y = (int(m) for m in middle)
    thick = -1 if turn < np.pi else max(size // 4, 2)
    cv2.circle(out, (x, y), size, colour, thick, cv2.LINE_AA)


def _triangle(
    out: np.ndarray, middle: np.ndarray, size: int, turn: float, colour: list[int]
) -> None:
    angles = turn + np.arange(3) * 2 * np.pi / 3
    corners = middle + size * np.column_stack([np.cos(angles), np.sin(angles)])
    cv2.fillPoly(out, [corners.astype(np.int32)], colour, cv2.LINE_AA)


def _bar(out: np.ndarray, middle: np.ndarray, size: int, turn: float, colour: list[int]) -> None:
    reach = 400 * np.array([np.cos(turn), np.sin(turn)])
    (ax, ay), (bx, by) = ((middle + s * reach).astype(int).tolist() for s in (-1, 1))
    cv2.line(out, (ax, ay), (bx, by), colour, size // 3 + 2, cv2.LINE_AA)
