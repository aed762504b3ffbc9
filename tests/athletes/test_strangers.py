"""A reader that always names two people may name a bystander; the athletes are told afterwards."""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from pipeline.athletes import Athletes
from tests.athletes.acting import BLUE, RED, WHITE, followed, look, paint, person

RATE = 5.0


def read(scene, named, seconds=12.0, colours=(BLUE, WHITE, RED)):
    """Tracks of a reader sure of the two people `named(t)`, and who each follows, (T,) twice."""
    rng, athletes, truth = np.random.default_rng(1), Athletes(), []
    for t in np.arange(0, seconds, 1 / RATE):
        people = scene(t)
        truth.append(people)
        seen = look([people[i] for i in named(t)], rng, pair=True)
        athletes.append(t, paint(people, list(colours)), seen)
    tracks = athletes.result()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # all-NaN is "missing"
        who = [followed(tracks.keypoints[:, slot], np.array(truth)) for slot in range(2)]
    return tracks, who


def closing(t):
    """Two athletes come together from both sides; a bystander stands beside the second."""
    near = min(t / 4, 1.0)
    return [person(100 + 70 * near), person(280 - 70 * near), person(370, 110)]


@pytest.mark.parametrize("until_s", [1.0, 2.0, 3.0])
def test_a_bystander_whom_the_reader_starts_with_is_no_athlete(until_s):
    tracks, who = read(closing, lambda t: (1, 2) if t < until_s else (0, 1))
    assert (np.array(who) != 2).all()
    found = tracks.times >= until_s + 1  # a leap is believed when it lasts
    assert (np.sort(np.array(who)[:, found], axis=0) == [[0], [1]]).all()
    # The athlete who was seen all along has one name all along.
    seen = next(w for w in who if w[-1] == 1)
    assert (seen == 1).all()


@pytest.mark.parametrize("colours", [(BLUE, WHITE, WHITE), (WHITE, WHITE, WHITE)])
def test_a_bystander_in_the_athletes_own_colours_is_no_athlete_either(colours):
    _, who = read(closing, lambda t: (1, 2) if t < 2 else (0, 1), colours=colours)
    assert (np.array(who) != 2).all()


def test_a_bystander_taken_for_an_athlete_half_way_leaves_the_names_as_they_were():
    _, who = read(closing, lambda t: (1, 2) if 6 <= t < 8 else (0, 1))
    assert (np.array(who) != 2).all()
    assert {w[0] for w in who} == {0, 1}
    assert all(set(w) - {-1} == {w[0]} for w in who)


def test_athletes_standing_apart_and_circling_fast_are_both_kept():
    def circling(t):
        return [person(213 + 40 * np.cos(2.5 * t)), person(213 - 40 * np.cos(2.5 * t)), person(400)]

    _, who = read(circling, lambda t: (0, 1))
    assert (np.array(who) >= 0).all()
