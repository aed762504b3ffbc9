"""Strips: a simulation as pictures in time, to be looked at."""

from __future__ import annotations

from contextlib import suppress
from itertools import islice
from pathlib import Path

import cv2
import numpy as np

from ..sheet import draw_pair
from . import efforts
from .simulate import DivergedError, Frame, Simulation
from .state import pair_of
from .stills import Order, beside, material, model_of, named, orders

_PICTURES = 6
_SECONDS = 1.5
_INK = (40, 40, 40)


def strips(
    cast: Path, pairs: list[Path], count: int, seed: int = 0, size: int = 160, skip: int = 0
) -> np.ndarray:
    """Draw simulations as `stills` makes them, a row each, under what the judge calls each moment.

    Parameters
    ----------
    cast, pairs : Path
    count : int
    seed : int
        Of the order of the pairs.
    size : int
        Pixels a picture.
    skip : int
        Simulations left out first.

    Returns
    -------
    ndarray, uint8, (count × size, 6 × size, 3)
        BGR.
    """
    chosen = islice(orders(cast, pairs, seed), skip, skip + count)
    return np.concatenate([_strip(order, size) for order in chosen], 0)


def _strip(order: Order, size: int) -> np.ndarray:
    people, pairs = material(order.cast, order.pairs)
    rng = np.random.default_rng((order.seed, order.row, 0))
    pair, other = pairs[order.row], pairs[int(rng.integers(len(pairs)))]
    goal = beside(pair, other)
    wanted = [efforts.drawn(rng, b, g) for b, g in zip(pair.bodies, goal.bodies, strict=True)]
    model = model_of(order.cast, order.pairs, *(body.person for body in pair.bodies))
    frames: list[Frame] = []
    with suppress(DivergedError):  # the strip ends there
        simulation = Simulation(model, pair, (order.seed, order.row, 1))
        for frame in simulation.run((wanted[0], wanted[1]), _SECONDS):
            frames.append(frame)
    moments = [(0.0, pair)]
    if frames:
        for row in np.linspace(0, len(frames) - 1, _PICTURES).round()[1:].astype(int):
            moments.append((frames[row].time, pair_of(model, frames[row].qpos, pair)))
    pictures = []
    for time, shown in moments:
        picture = draw_pair(shown, people, -60, 15, size)
        _write(picture, f"{time:.1f} s {named(shown, people).position or 'unnamed'}", size - 5)
        pictures.append(picture)
    pictures += [np.full_like(pictures[0], 236)] * (_PICTURES - len(pictures))
    strip = np.concatenate(pictures, 1)
    what = ", ".join(
        f"{side} {e.kind} {e.strength:.1f}" for side, e in zip("AB", wanted, strict=True)
    )
    _write(strip, f"{pair.template}: {what}".replace("–", "-"), 11)
    return strip


def _write(picture: np.ndarray, text: str, y: int) -> None:
    cv2.putText(picture, text, (3, y), cv2.FONT_HERSHEY_SIMPLEX, 0.33, _INK, 1, cv2.LINE_AA)
