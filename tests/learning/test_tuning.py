"""Learning must help where the reader is wrong, and be judged on bouts it never saw."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from pipeline.learning import Samples, bend, cross_validate, judge
from pipeline.positions import decode
from pipeline.positions.states import STATES
from pipeline.settings import LearningSettings
from pipeline.timeline import Timeline, coarse
from pipeline.timeline.compare import compare
from tests.learning.conftest import POSITIONS, seen

SETTINGS = LearningSettings(folds=3, passes=(2, 8), rate=1e-3)
SHIFT = 8.0


def test_more_corrected_bouts_teach_more(start):
    """The learning curve of a scripted corrector who knows the truth."""
    unseen = [seen(seed, SHIFT) for seed in range(50, 53)]
    curve = [judge(start, unseen).macro_f1]
    for count in (1, 4):
        samples = Samples.of([seen(seed, SHIFT) for seed in range(20, 20 + count)], start.states)
        curve.append(judge(bend(start, samples, 8, 1.0, SETTINGS, ""), unseen).macro_f1)
    assert curve[0] < 0.4
    assert curve[0] + 0.3 < curve[1] < curve[2]
    assert curve[2] > 0.95


def test_the_model_learnt_from_stays_as_it_was(start):
    before = [w.copy() for w in start.classifier[-1].coefs_]
    samples = Samples.of([seen(20, SHIFT)], start.states)
    bend(start, samples, 2, 1.0, SETTINGS, "")
    for old, now in zip(before, start.classifier[-1].coefs_, strict=True):
        np.testing.assert_array_equal(old, now)


def test_the_same_corrections_give_the_same_model(start):
    samples = Samples.of([seen(20, SHIFT)], start.states)
    one, two = (bend(start, samples, 2, 1.0, SETTINGS, "") for _ in range(2))
    np.testing.assert_array_equal(one.classifier[-1].coefs_[0], two.classifier[-1].coefs_[0])


def test_a_bout_is_never_judged_by_a_model_that_saw_it(start, monkeypatch):
    bouts = [seen(seed, SHIFT) for seed in range(20, 24)]
    samples = Samples.of(bouts, start.states)
    import pipeline.learning.tuning as tuning

    prepared = tuning._prepared(start, samples)
    rows = {row.tobytes(): bout for row, bout in zip(prepared, samples.bout, strict=True)}
    judged = []
    real = tuning._learning

    def watched(model, x, y, steps, settings):
        learnt = {rows[row.tobytes()] for row in x}
        for passes, network in real(model, x, y, steps, settings):

            class Watching:
                def predict_proba(self, x, told=network.predict_proba):
                    judged.append({rows[row.tobytes()] for row in x} & learnt)
                    return told(x)

            yield passes, Watching()

    monkeypatch.setattr(tuning, "_learning", watched)
    cross_validate(start, samples, SETTINGS)
    assert len(judged) == 3 * 3
    assert not any(judged)


def test_folds_choose_to_learn_where_it_helps_and_not_where_it_does_not(start):
    helps = Samples.of([seen(seed, SHIFT) for seed in range(20, 25)], start.states)
    assert cross_validate(start, helps, SETTINGS).passes > 0
    rng = np.random.default_rng(0)
    noise = replace(helps, y=rng.permutation(helps.y))
    trial = cross_validate(start, noise, SETTINGS)
    assert trial.macro_f1[trial.passes] == max(trial.macro_f1.values())


def test_probabilities_after_learning_are_as_sure_as_they_are_right(start):
    samples = Samples.of([seen(seed, SHIFT) for seed in range(20, 26)], start.states)
    trial = cross_validate(start, samples, SETTINGS)
    sure = trial.probabilities.max(axis=1)
    right = np.array(start.states)[trial.probabilities.argmax(axis=1)] == samples.y
    assert abs(sure.mean() - right.mean()) < 0.05


def test_both_naming_orders_are_learnt(start):
    samples = Samples.of([seen(20), seen(21)], start.states)
    plain = set(samples.y[~samples.exchanged])
    turned = set(samples.y[samples.exchanged])
    assert "standing" in plain & turned
    assert {"mount/B", "side_control/A"} <= plain
    assert turned == {state.translate(str.maketrans("AB", "BA")) for state in plain}


def test_nothing_is_learnt_near_a_border(start):
    bout = seen(20)
    samples = Samples.of([bout], start.states, LearningSettings(border_s=1.0))
    assert len(samples) / 2 == pytest.approx(8 * (6 - 2) * 5, abs=8)


def test_what_the_model_can_not_say_teaches_nothing(start):
    states = [s for s in start.states if not s.startswith("mount")]
    assert not any("mount" in y for y in Samples.of([seen(20)], states).y)


def test_judging_looks_only_where_a_person_spoke(start):
    bout = seen(20)
    part = Timeline(bout.timeline.segments[2:5])
    figures = judge(start, [replace(bout, timeline=part)])
    assert figures.seconds == pytest.approx(18)
    assert figures.macro_f1 > 0.95
    assert figures.edit == 100
    assert set(POSITIONS) >= {s.position for s in part.segments}


def voted(bout, sure=0.999):
    """The same bout by a reader that tells positions by itself."""
    known = sorted({"mount", *POSITIONS, *(coarse(state) for state in STATES)})
    said = [bout.timeline.at(time_s).position for time_s in bout.features.index]
    votes = np.where(np.array(said)[:, None] == known, sure, (1 - sure) / (len(known) - 1))
    return replace(bout, scores=pd.DataFrame(votes, bout.features.index, columns=known))


def test_a_bout_is_judged_as_it_would_be_read_with_the_readers_own_votes(start):
    bout = seen(50, SHIFT)
    alone, together = judge(start, [bout]), judge(start, [voted(bout)])
    assert alone.macro_f1 < 0.5
    assert together.macro_f1 > alone.macro_f1 + 0.1
    proposed = decode(start.predict(bout.features, voted(bout).scores)).segments
    told = compare(bout.timeline, Timeline(tuple(proposed)))
    assert together.accuracy == pytest.approx(told.frame_accuracy, abs=0.02)


def test_folds_count_the_readers_own_votes(start):
    bouts = [seen(seed, SHIFT) for seed in range(20, 24)]
    right, sure = [], []
    for some in (bouts, [voted(bout) for bout in bouts]):
        samples = Samples.of(some, start.states)
        trial = cross_validate(start, samples, replace(SETTINGS, passes=()))
        told = np.array(start.states)[trial.probabilities.argmax(axis=1)]
        right.append(
            np.mean([coarse(a) == coarse(b) for a, b in zip(told, samples.y, strict=True)])
        )
        np.testing.assert_allclose(trial.probabilities.sum(axis=1), 1)
        sure.append(1 / trial.temperature)
    assert right[1] > right[0] + 0.1
    # Who is less often right than the votes may be less sure than alone.
    assert sure[1] < sure[0]
