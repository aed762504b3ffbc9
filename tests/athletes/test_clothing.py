"""Clothing colours: what must count as the same, and what as another."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.athletes.clothing import LENGTH, describe, distance, mean
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
