"""The figures by which proposals are judged, against examples worked by hand and scikit-learn."""

import doctest

import numpy as np
import pytest
from sklearn.calibration import calibration_curve
from sklearn.metrics import accuracy_score, precision_recall_fscore_support

from pipeline.timeline import Moment, Segment, Timeline
from pipeline.timeline import compare as compare_module
from pipeline.timeline.compare import (
    Counts,
    compare,
    compare_all,
    confusion_seconds,
    corrections_needed,
    edit_score,
    expected_calibration_error,
    moment_counts,
    runs,
    segment_counts,
)


def timeline(*spans, moments=()):
    """Spans are (end, position, top), each starting where the one before ended."""
    segments, start = [], 0.0
    for end, position, top in spans:
        segments.append(Segment(start, end, position, top))
        start = end
    return Timeline(tuple(segments), tuple(moments))


TRUTH = timeline(
    (10, "standing", None), (14, "takedown", "A"), (30, "closed_guard", "A"), (40, "mount", "B")
)
SAID = timeline(
    (12, "standing", None),
    (14, "takedown", "A"),
    (20, "closed_guard", "A"),
    (22, "half_guard", "A"),
    (30, "closed_guard", "A"),
    (40, "mount", "A"),
)


def test_figures_of_a_worked_example():
    """By hand: wrong are 2 s (standing for takedown) and 2 s (half guard) of 40 s.

    Labels S T C M against S T C H C M: two insertions of six. Overlaps S 10/12, T 2/4,
    C 6/16 and 8/16 (one of the two hits), H none, M 1: at 0.5 hits 4 of 6 proposed and of 4
    true, F1 = 8/10; with overlap 0.25 the first closed guard takes the run, same count.
    """
    figures = compare(TRUTH, SAID)
    assert figures.frame_accuracy == pytest.approx(36 / 40)
    assert figures.edit == pytest.approx(100 * (1 - 2 / 6))
    assert figures.f1[0.10] == pytest.approx(80)
    assert figures.f1[0.25] == pytest.approx(80)
    assert figures.f1[0.50] == pytest.approx(80)
    # Top matters for 30 s; wrong or unsaid: 2 s of takedown told as standing, 10 s of mount.
    assert figures.top_accuracy == pytest.approx(18 / 30)
    # Move one border, merge two runs away, relabel mount's top.
    assert figures.corrections_per_minute == pytest.approx(4 * 60 / 40)


def test_time_accuracy_is_what_scikit_learn_gives_on_fine_samples():
    times = np.arange(0.005, 40, 0.01)
    true = [TRUTH.at(t).position for t in times]
    said = [SAID.at(t).position for t in times]
    figures = compare(TRUTH, SAID)
    assert figures.frame_accuracy == pytest.approx(accuracy_score(true, said), abs=1e-3)
    table = figures.per_position()
    names = list(table.index)
    precision, recall, f1, _ = precision_recall_fscore_support(
        true, said, labels=names, zero_division=1
    )
    np.testing.assert_allclose(table["precision"], precision, atol=2e-3)
    np.testing.assert_allclose(table["recall"], recall, atol=2e-3)
    np.testing.assert_allclose(table["f1"], f1, atol=2e-3)


def test_nothing_and_perfect_are_defined():
    nothing = Timeline()
    assert compare(TRUTH, TRUTH).frame_accuracy == 1
    assert compare(TRUTH, TRUTH).f1[0.5] == 100
    assert compare(TRUTH, TRUTH).corrections_per_minute == 0
    assert compare(TRUTH, nothing).frame_accuracy == 0
    assert compare(TRUTH, nothing).edit == 0
    assert compare(TRUTH, nothing).f1[0.1] == 0
    assert compare(nothing, nothing).edit == 100
    assert compare(nothing, nothing).f1[0.5] == 100
    assert compare_all([]).bouts == 0
    assert (Counts().precision, Counts().recall, Counts().f1) == (1, 1, 1)
    assert edit_score([], ["mount"]) == 0


def test_edit_score_of_the_textbook_pair():
    # kitten → sitting, distance 3: the standard example of Levenshtein distance.
    assert edit_score(list("kitten"), list("sitting")) == pytest.approx(100 * (1 - 3 / 7))


def test_a_run_can_be_hit_only_once():
    truth = runs(timeline((10, "mount", "A")).segments)
    said = runs(timeline((5, "mount", "A"), (5.5, "turtle", "A"), (10, "mount", "A")).segments)
    assert segment_counts(truth, said, 0.25) == Counts(1, 2, 0)
    assert segment_counts(truth, said, 0.60) == Counts(0, 3, 1)


def test_finer_labels_of_the_users_own_do_not_count_as_errors():
    finer = timeline((5, "half_guard/knee shield", "A"), (10, "half_guard", "A"))
    assert compare(timeline((10, "half_guard", "A")), finer).corrections_per_minute == 0


def test_confusion_counts_uncovered_time_as_unknown():
    table = confusion_seconds(TRUTH, timeline((10, "standing", None)))
    assert table.loc["mount", "unknown"] == 10
    assert table.loc["standing", "standing"] == 10
    assert table.to_numpy().sum() == pytest.approx(40)


def rise(peak_s, athlete="B"):
    return Moment(peak_s, peak_s, peak_s, "rise", athlete)


def test_moments_match_once_within_a_second_and_for_the_same_athlete():
    truth = [rise(10), rise(11.5), rise(30)]
    assert moment_counts(truth, [rise(11.0), rise(12.0), rise(40)]) == Counts(2, 1, 1)
    assert moment_counts(truth, [rise(10, "A")]) == Counts(0, 1, 3)
    assert moment_counts(truth, [rise(11.0)]) == Counts(1, 0, 2)
    figures = compare(TRUTH.with_moments(truth), SAID.with_moments([rise(10.4), rise(20)]))
    assert figures.moments["rise"].precision == 0.5
    assert figures.moments["rise"].recall == pytest.approx(1 / 3)


def test_each_kind_of_error_costs_the_corrections_a_hand_would_need():
    truth = timeline((10, "standing", None), (20, "mount", "A"))
    assert corrections_needed(truth, timeline((11, "standing", None), (20, "mount", "A"))) == 1
    assert corrections_needed(truth, timeline((10.4, "standing", None), (20, "mount", "A"))) == 0
    assert corrections_needed(truth, timeline((10, "standing", None), (20, "mount", "B"))) == 1
    assert corrections_needed(truth, timeline((20, "standing", None))) == 2
    assert corrections_needed(truth, Timeline()) == 4


def test_calibration_error_of_a_worked_example_and_of_scikit_learns_bins():
    # Two bins: mean confidence 0.6 against accuracy 0.5, and 0.9 against 1: (0.1 + 0.1) / 2.
    confidence = np.array([0.55, 0.65, 0.85, 0.95])
    correct = np.array([True, False, True, True])
    assert expected_calibration_error(confidence, correct, bins=2) == pytest.approx(0.1)
    assert expected_calibration_error(np.zeros(0), np.zeros(0)) == 0

    rng = np.random.default_rng(0)
    confidence = rng.random(2000)
    correct = rng.random(2000) < confidence**2
    true, said = calibration_curve(correct, confidence, n_bins=10, strategy="quantile")
    expected = np.abs(true - said).mean()
    assert expected_calibration_error(confidence, correct) == pytest.approx(expected, abs=1e-3)


def test_documented_example_runs():
    assert doctest.testmod(compare_module).failed == 0
