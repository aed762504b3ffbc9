"""Who is to be hidden can't be seen, by every pixel of a picture that is full of detail."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from pipeline.outputs.clips import Look
from pipeline.outputs.clips.choose import Clip
from pipeline.outputs.clips.painter import Painter
from pipeline.settings import ClipsSettings
from tests.teach.conftest import body

SIZE = (480, 270)
HEADS = ((120, 90), (320, 90))
SETTINGS = ClipsSettings()


@pytest.fixture
def image():
    """Noise in squares of 4 pixels: detail as fine as a face's."""
    dice = np.random.default_rng(3)
    small = dice.integers(0, 256, (68, 120, 3), dtype=np.uint8)
    return np.kron(small, np.ones((4, 4, 1), np.uint8))[: SIZE[1], : SIZE[0]]


def painted(library, image, look: Look, keypoints: np.ndarray) -> np.ndarray:
    (bout,) = library.bouts()
    clip = Clip(bout, 0.0, 2.0, "sweep", "0:01")
    times = np.array([0.0, 0.2, 0.4, 0.6])
    shown = np.stack([keypoints] * 4).astype(np.float32)
    painter = Painter(clip, look, SIZE, times, shown, pd.DataFrame(), SETTINGS)
    return painter.paint(image.copy(), 0.3, 1.0)


def detail_left(before: np.ndarray, after: np.ndarray) -> float:
    """Return how much of a patch's detail is still there: 1 all, 0 none."""
    one, two = (p.astype(float) - p.mean((0, 1)) for p in (before, after))
    return float((one * two).sum() / (one * one).sum())


def around(image: np.ndarray, place: tuple[int, int], half: int = 12) -> np.ndarray:
    x, y = place
    return image[y - half : y + half, x - half : x + half]


PAIR = np.stack([body(120), body(320)])
PLAIN = Look(caption=False)


def test_both_faces_are_hidden_and_the_rest_is_not(library, image):
    shown = painted(library, image, replace(PLAIN, blur_faces=True), PAIR)
    for head in HEADS:
        assert detail_left(around(image, head), around(shown, head)) < 0.15
    for place in ((120, 200), (320, 200), (440, 240)):
        assert detail_left(around(image, place), around(shown, place)) > 0.95


def test_without_being_asked_nothing_is_hidden(library, image):
    shown = painted(library, image, PLAIN, PAIR)
    assert detail_left(image, shown) > 0.95


def test_where_one_head_is_not_known_the_whole_picture_is_hidden(library, image):
    lost = PAIR.copy()
    lost[1] = np.nan
    shown = painted(library, image, replace(PLAIN, blur_faces=True), lost)
    assert detail_left(image, shown) < 0.15


def test_everyone_away_from_the_pair_is_hidden(library, image):
    shown = painted(library, image, replace(PLAIN, blur_others=True), PAIR)
    assert detail_left(image[:, 400:], shown[:, 400:]) < 0.15
    assert detail_left(image[:, :60], shown[:, :60]) < 0.15
    for head in HEADS:
        assert detail_left(around(image, head), around(shown, head)) > 0.95
