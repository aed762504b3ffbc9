"""A hint must point at what is wrong often enough to be worth a look."""

from dataclasses import replace

import numpy as np
import pytest

from pipeline.learning import Samples, cross_validate, suspect_samples, suspect_segments
from pipeline.settings import LearningSettings
from pipeline.timeline import Timeline
from tests.learning.conftest import seen


@pytest.mark.parametrize("seed", range(5))
def test_suspects_are_those_of_the_reference_implementation(seed):
    # cleanlab, by the authors of confident learning: the off-diagonal of the confident joint.
    cleanlab = pytest.importorskip("cleanlab.count")
    rng = np.random.default_rng(seed)
    labels = np.arange(300) % 4
    probabilities = rng.dirichlet(np.ones(4) * 0.6, 300)
    probabilities[np.arange(300), labels] += 0.5
    probabilities /= probabilities.sum(axis=1, keepdims=True)
    _, theirs = cleanlab.compute_confident_joint(
        labels, probabilities, calibrate=False, return_indices_of_off_diagonals=True
    )
    ours = np.flatnonzero(suspect_samples(labels, probabilities) >= 0)
    assert ours.tolist() == sorted(theirs)
    assert len(ours)


def test_a_wrongly_named_segment_is_found_and_told_what_it_rather_is(start):
    bouts = [seen(seed) for seed in range(20, 25)]
    first = bouts[0].timeline.segments
    index = next(i for i, s in enumerate(first) if s.position == "mount")
    wrong = replace(first[index], position="half_guard")
    timeline = Timeline((*first[:index], wrong, *first[index + 1 :]))
    bouts[0] = replace(bouts[0], timeline=timeline)
    samples = Samples.of(bouts, start.states)
    trial = cross_validate(start, samples, LearningSettings(folds=3, passes=(2,)))
    found = suspect_segments(bouts, samples, trial.probabilities, start.states, 0.5)
    assert found["segment"].tolist() == [wrong.id]
    row = found.iloc[0]
    assert (row["said"], row["rather"]) == (
        f"half_guard/{wrong.top}", f"mount/{wrong.top}"
    )  # fmt: skip


def test_clean_bouts_raise_no_question(start):
    bouts = [seen(seed) for seed in range(20, 24)]
    samples = Samples.of(bouts, start.states)
    trial = cross_validate(start, samples, LearningSettings(folds=2, passes=(2,)))
    assert suspect_segments(bouts, samples, trial.probabilities, start.states, 0.5).empty
