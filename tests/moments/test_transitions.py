"""Transitions on segments written by hand; definitions: docs/moments.md (the project's own).

Three seconds of control and "a sweep starts from guard or half guard" are the published
international rule book's (from memory).
"""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.moments import find_moments
from tests.moments.acting import script, table

EMPTY = table(np.arange(0.0))


def named(*parts):
    return [(m.kind, m.athlete) for m in find_moments(EMPTY, script(*parts))]


@pytest.mark.parametrize("guard", ["closed_guard", "open_guard", "half_guard"])
def test_coming_on_top_from_guard_is_a_sweep(guard):
    assert named((10, guard, "A"), (1, "scramble", None), (5, "closed_guard", "B")) == [
        ("sweep", "B")
    ]


@pytest.mark.parametrize("position", ["mount", "side_control", "turtle", "north_south"])
def test_coming_on_top_from_elsewhere_is_a_reversal(position):
    assert ("reversal", "B") in named((10, position, "A"), (5, "closed_guard", "B"))


@pytest.mark.parametrize(("held", "kind"), [(2.9, "sweep_attempt"), (3.0, "sweep")])
def test_a_sweep_is_held_three_seconds(held, kind):
    found = find_moments(
        EMPTY, script((10, "half_guard", "A"), (held, "closed_guard", "B"), (5, "standing", None))
    )
    sweep = next(m for m in found if "sweep" in m.kind)
    assert sweep.kind == kind
    assert sweep.peak_s == 10
    assert sweep.strength == pytest.approx(held)
    assert sweep.evidence["held_s"] == pytest.approx(held)


def test_getting_back_on_top_at_once_is_no_reversal_of_its_own():
    assert named((10, "half_guard", "A"), (1, "half_guard", "B"), (9, "half_guard", "A")) == [
        ("sweep_attempt", "B")
    ]


def test_a_sweep_that_moves_on_to_the_mount_is_held_all_the_while():
    assert named((10, "half_guard", "A"), (2, "side_control", "B"), (4, "mount", "B")) == [
        ("sweep", "B"),
        ("mount_taken", "B"),
    ]


def test_taking_the_back_from_guard_is_a_back_taken_and_no_sweep():
    assert named((10, "half_guard", "A"), (5, "back_control", "B")) == [("back_taken", "B")]


def test_standing_in_between_makes_it_no_reversal():
    found = named(
        (10, "half_guard", "A"),
        (4, "standing", None),
        (2, "takedown", "B"),
        (5, "side_control", "B"),
    )
    assert found == [("stand_up", "B"), ("takedown", "B")]


@pytest.mark.parametrize(("held", "kind"), [(2.0, "guard_pass_attempt"), (4.0, "guard_pass")])
def test_a_pass_goes_from_guard_past_the_legs_and_stays_there(held, kind):
    assert named((10, "open_guard", "B"), (held, "side_control", "B"), (9, "half_guard", "B")) == [
        (kind, "B")
    ]


def test_a_pass_that_goes_on_to_knee_on_belly_and_mount_is_one_pass():
    assert named(
        (10, "half_guard", "A"),
        (2, "side_control", "A"),
        (1, "knee_on_belly", "A"),
        (4, "mount", "A"),
    ) == [("guard_pass", "A"), ("knee_on_belly_taken_attempt", "A"), ("mount_taken", "A")]


def test_going_to_the_knees_is_no_pass():
    assert named((10, "half_guard", "A"), (5, "turtle", "A"), (5, "side_control", "A")) == []


@pytest.mark.parametrize(
    ("position", "kind"),
    [
        ("mount", "mount_taken"),
        ("back_control", "back_taken"),
        ("knee_on_belly", "knee_on_belly_taken"),
    ],
)
def test_positions_taken_are_held_or_attempts(position, kind):
    before = (5, "side_control", "A")
    after = (5, "side_control", "A")
    assert named(before, (3, position, "A"), after) == [(kind, "A")]
    assert named(before, (1, position, "A"), after) == [(kind + "_attempt", "A")]
    assert named(before, (0.2, position, "A"), after) == []


def test_a_takedown_is_from_the_feet_with_a_grip_or_past_the_guard():
    assert named((5, "standing", None), (2, "takedown", "A"), (5, "half_guard", "A")) == [
        ("takedown", "A")
    ]
    assert named((5, "standing", None), (5, "side_control", "B")) == [("takedown", "B")]


def test_pulling_guard_is_no_takedown():
    assert named((5, "standing", None), (9, "closed_guard", "A")) == []


def test_a_takedown_that_ends_on_the_feet_is_an_attempt():
    assert named((5, "standing", None), (2, "takedown", "A"), (5, "standing", None)) == [
        ("takedown_attempt", "A")
    ]


def test_a_takedown_countered_is_the_one_who_lands_on_top():
    assert named((5, "standing", None), (2, "takedown", "A"), (5, "side_control", "B")) == [
        ("takedown", "B")
    ]


def test_a_takedown_into_guard_says_so():
    (takedown,) = find_moments(
        EMPTY, script((5, "standing", None), (2, "takedown", "A"), (5, "half_guard", "A"))
    )
    assert takedown.evidence["into_guard"] == 1
    assert (takedown.start_s, takedown.peak_s) == (5, 7)


def test_standing_up_is_from_underneath_and_a_stop_is_none():
    assert named((5, "side_control", "A"), (4, "standing", None)) == [("stand_up", "B")]
    assert named(
        (5, "side_control", "A"),
        (1, "standing", None),
        (2, "takedown", "A"),
        (4, "side_control", "A"),
    ) == [("stand_up_attempt", "B"), ("takedown", "A")]
    assert named((5, "side_control", "A"), (4, "apart", None), (4, "standing", None)) == []


def test_a_finer_label_and_a_doubtful_hole_change_nothing():
    assert named(
        (5, "half_guard/knee shield", "A"),
        (5, "half_guard/flat", "A"),
        (0.5, "unknown", None),
        (2, "mount/low", "A"),
        (0.5, "unknown", None),
        (2, "mount/high", "A"),
    ) == [("guard_pass", "A"), ("mount_taken", "A")]


def test_exchanging_the_athletes_exchanges_every_moment():
    parts = [
        (5, "standing", None),
        (2, "takedown", "A"),
        (5, "half_guard", "A"),
        (1, "scramble", None),
        (5, "side_control", "B"),
        (4, "mount", "B"),
        (1, "back_control", "A"),
        (4, "turtle", "A"),
    ]
    other = {"A": "B", "B": "A", None: None}
    swapped = [(s, p, other[t]) for s, p, t in parts]
    assert named(*swapped) == [(k, other[a]) for k, a in named(*parts)]


def test_no_segments_have_no_moments():
    assert find_moments(EMPTY, []) == []
