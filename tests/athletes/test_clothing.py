"""Clothing colours: what must count as the same, and what as another."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.athletes.clothing import LENGTH, describe, distance, mean
from pipeline.bodies import Outline
from tests.athletes.acting import BLACK, BLUE, RED, WHITE, paint, person


def worn(colour):
    someone = person(200)
    return describe(paint([someone], [colour]), someone)


@pytest.mark.parametrize(
    ("one", "two"), [(BLUE, WHITE), (BLUE, BLACK), (BLACK, WHITE), (RED, BLUE)]
)
def test_other_colours_are_far_apart(one, two):
    assert distance(worn(one), worn(two)) > 0.4


def test_the_same_cloth_in_weaker_light_stays_nearer_than_another_cloth():
    darker = tuple(int(c * 0.8) for c in BLUE)
    assert distance(worn(BLUE), worn(darker)) < 0.2
    assert distance(worn(BLUE), worn(BLUE)) == pytest.approx(0, abs=1e-6)


def test_a_body_outside_the_picture_or_unseen_says_nothing():
    someone = person(200)
    image = paint([someone], [BLUE])
    away = someone + np.array([5000, 0, 0])
    for keypoints in (away, np.full((17, 3), np.nan)):
        described = describe(image, keypoints)
        assert described.shape == (LENGTH,)
        assert described.sum() == 0
        assert np.isnan(distance(described, worn(BLUE)))


def test_unseen_samples_do_not_dilute_the_mean():
    seen, unseen = worn(RED), np.zeros(LENGTH)
    np.testing.assert_allclose(mean(np.array([seen, unseen, seen]), np.ones(3)), seen, atol=1e-6)


def outline_of(image, colour):
    """An outline over the whole picture of all that has one colour."""
    side = max(image.shape[:2])
    cells = 64
    middles = ((np.arange(cells) + 0.5) * side / cells).astype(int)
    square = np.zeros((side, side, 3), np.uint8)
    square[: image.shape[0], : image.shape[1]] = image
    cover = (square[middles[:, None], middles[None, :]] == colour).all(axis=2)
    return Outline(0.0, 0.0, float(side), cover.astype(float))


def test_who_lies_across_does_not_lend_the_covered_athlete_a_colour():
    covered, above = person(200), person(215)
    image = paint([covered, above], [BLUE, RED])
    by_lines = distance(describe(image, covered), worn(BLUE))
    by_outline = distance(describe(image, covered, outline_of(image, BLUE)), worn(BLUE))
    assert by_outline < 0.1
    assert by_outline < by_lines / 2


def test_hair_and_skin_tell_two_in_one_colour_apart():
    someone = person(200)
    heads = []
    for head in ((40, 30, 25), (230, 200, 180)):
        image = paint([someone], [BLUE])
        x, y = someone[:5, :2].mean(axis=0).astype(int)
        image[max(y - 25, 0) : y + 12, x - 15 : x + 15] = head
        heads.append(describe(image, someone))
    assert distance(heads[0], heads[1]) > 0.15
    assert distance(heads[0], heads[0]) == pytest.approx(0, abs=1e-6)
