"""Rise and lift on height traces whose answer follows from the definition.

The definitions are the project's own (docs/moments.md); no outside source has them.
"""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.moments import elevation_outcomes, find_moments
from pipeline.moments.elevations import gains
from tests.moments.acting import LYING, pulse, script, table

RATE = 20.0
TIMES = np.arange(0, 12, 1 / RATE)
GUARD = script((12, "closed_guard", "A"))


def kinds(moments):
    return [(m.kind, m.athlete) for m in moments]


def rises(gain=0.5, seconds=2.0, segments=GUARD, times=TIMES, start=5.0):
    height = pulse(times, LYING, gain, start, seconds)
    found = find_moments(table(times, b_shoulder_height=height), segments)
    return [m for m in found if m.kind == "rise"]


@pytest.mark.parametrize(("gain", "count"), [(0.24, 0), (0.26, 1)])
def test_a_rise_needs_a_quarter_of_a_trunk_length(gain, count):
    assert len(rises(gain)) == count


@pytest.mark.parametrize(("seconds", "count"), [(0.3, 0), (0.5, 1)])
def test_a_rise_is_kept_for_four_tenths_of_a_second(seconds, count):
    assert len(rises(seconds=seconds)) == count


@pytest.mark.parametrize(("ramp_s", "count"), [(1.4, 1), (2.4, 0)])
def test_a_slow_climb_is_no_rise(ramp_s, count):
    height = LYING + 0.27 * np.clip((TIMES - 5) / ramp_s, 0, 1)
    found = list(gains(TIMES, height, 0.25, 1.5, 0.4))
    assert len(found) == count


def test_a_rise_says_when_how_far_and_for_how_long():
    (rise,) = rises(gain=0.5, seconds=2.0)
    assert rise.athlete == "B"
    assert rise.strength == pytest.approx(0.5)
    assert rise.start_s == pytest.approx(5.0, abs=0.1)
    assert rise.peak_s == pytest.approx(5.0, abs=0.1)
    assert rise.evidence["gain_trunk_lengths"] == pytest.approx(0.5)
    assert rise.evidence["kept_s"] == pytest.approx(2.0, abs=0.1)
    assert rise.evidence["baseline_trunk_lengths"] == pytest.approx(LYING)
    assert rise.confidence == pytest.approx(0.9 * 0.8)


@pytest.mark.parametrize(
    ("position", "top", "who"),
    [
        ("half_guard", "A", ["B"]),
        ("turtle", "A", ["B"]),
        ("side_control", "A", ["B"]),
        ("half_guard", "B", []),
        ("half_guard", None, []),
        ("mount", "A", []),
        ("standing", None, []),
    ],
)
def test_only_who_is_underneath_rises(position, top, who):
    assert [m.athlete for m in rises(segments=script((12, position, top)))] == who


@pytest.mark.parametrize("rate", [3.0, 5.0, 10.0, 30.0])
def test_a_rise_is_found_once_at_any_rate_and_through_noise(rate):
    times = np.arange(0, 30, 1 / rate)
    rng = np.random.default_rng(0)
    height = LYING + 0.45 * (1 / (1 + np.exp(-(times - 15) / 0.15)))
    height += rng.normal(0, 0.03, len(times))
    found = find_moments(table(times, b_shoulder_height=height), script((30, "half_guard", "A")))
    assert kinds(found) == [("rise", "B")]
    assert found[0].peak_s == pytest.approx(15.5, abs=1.5)


def test_one_wild_sample_is_no_rise():
    times = np.arange(0, 12, 0.2)
    height = np.full(len(times), LYING)
    height[30] += 1.5
    assert not find_moments(table(times, b_shoulder_height=height), GUARD)


def test_unseen_samples_neither_fire_nor_stop_a_rise():
    times = np.arange(0, 12, 0.2)
    height = pulse(times, LYING, 0.5, 5.0, 2.0)
    height[::4] = np.nan
    found = find_moments(table(times, b_shoulder_height=height), GUARD)
    assert kinds(found) == [("rise", "B")]
    assert not find_moments(table(times, b_shoulder_height=np.nan), GUARD)


def test_coming_up_twice_by_steps_is_two_rises():
    height = LYING + 0.4 * (TIMES >= 4) + 0.4 * (TIMES >= 7)
    found = find_moments(table(TIMES, b_shoulder_height=height), GUARD)
    assert kinds(found) == [("rise", "B"), ("rise", "B")]


def test_heights_over_the_mat_go_before_heights_in_the_picture():
    looks = pulse(TIMES, LYING, 0.5, 5.0, 2.0)
    found = find_moments(table(TIMES, b_shoulder_height=looks, b_shoulder_over_mat=LYING), GUARD)
    assert not found
    found = find_moments(table(TIMES, b_shoulder_over_mat=looks), GUARD)
    assert kinds(found) == [("rise", "B")]


def test_the_peak_of_a_plateau_is_where_it_begins():
    height = pulse(TIMES, LYING, 0.5, 5.0, 4.0)
    height[(TIMES > 6.2) & (TIMES < 6.4)] += 0.02
    (rise,) = find_moments(table(TIMES, b_shoulder_height=height), GUARD)
    assert rise.peak_s == pytest.approx(5.0, abs=0.2)


def lifts(gain=0.5, seconds=1.0, **columns):
    height = pulse(TIMES, 0.8, gain, 5.0, seconds)
    off = pulse(TIMES, 0.2, 0.5, 5.0, seconds)
    legs = {"a_foot_height_low": off, "a_knee_over_mat": off}
    found = find_moments(table(TIMES, a_hip_height=height, **(legs | columns)), GUARD)
    return [m for m in found if m.kind == "lift"]


@pytest.mark.parametrize(("gain", "count"), [(0.29, 0), (0.31, 1)])
def test_a_lift_needs_three_tenths_of_a_trunk_length(gain, count):
    found = lifts(gain)
    assert len(found) == count
    assert all(m.athlete == "B" for m in found)


def test_a_lift_is_from_underneath():
    assert len(lifts()) == 1
    assert not lifts(pair_horizontal_overlap=0.1)
    assert not lifts(b_hip_height=1.4)


def test_standing_up_or_coming_to_a_knee_by_oneself_is_no_lift():
    assert not lifts(a_foot_height_low=0.2)  # a foot is on the mat
    assert not lifts(a_knee_over_mat=0.15)  # a knee is
    assert len(lifts(a_knee_over_mat=np.nan)) == 1  # not seen: the feet decide
    assert not lifts(a_knee_over_mat=np.nan, a_foot_height_low=np.nan)


def test_a_rise_knows_the_sweep_it_led_to():
    times = np.arange(0, 20, 0.1)
    height = pulse(times, LYING, 0.6, 5.0, 20) + pulse(times, 0, 0, 0, 1)
    segments = script((7, "half_guard", "A"), (1, "scramble", None), (12, "side_control", "B"))
    found = find_moments(table(times, b_shoulder_height=height), segments)
    rise = next(m for m in found if m.kind == "rise")
    assert rise.evidence["led_to_sweep"] == 1
    assert rise.evidence["led_to_reversal"] == 0
    assert rise.evidence["seconds_to_outcome"] == pytest.approx(3.0, abs=0.15)


def test_a_sweep_long_after_is_not_what_a_rise_led_to():
    times = np.arange(0, 40, 0.1)
    height = pulse(times, LYING, 0.6, 5.0, 2.0)
    segments = script((25, "half_guard", "A"), (15, "side_control", "B"))
    found = find_moments(table(times, b_shoulder_height=height), segments)
    rise = next(m for m in found if m.kind == "rise")
    assert rise.evidence["led_to_sweep"] == 0
    assert "seconds_to_outcome" not in rise.evidence


def test_how_often_coming_up_led_to_a_sweep_can_be_asked():
    times = np.arange(0, 60, 0.1)
    height = pulse(times, LYING, 0.6, 10.0, 2.0) + pulse(times, 0, 0.6, 30.0, 2.0)
    segments = script((33, "half_guard", "A"), (27, "mount", "B"))
    table_of = elevation_outcomes(find_moments(table(times, b_shoulder_height=height), segments))
    row = table_of.loc[("B", "rise")]
    assert (row["count"], row["sweep"], row["nothing"]) == (2, 1, 1)
    assert elevation_outcomes([]).empty
