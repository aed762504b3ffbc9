"""The two-state chain against every path counted out, and against hmmlearn."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from hmmlearn.hmm import CategoricalHMM

from pipeline.athletes.two_state import cheapest, path_cost, posterior


@pytest.mark.parametrize("seed", range(10))
def test_path_and_probabilities_are_those_of_all_paths_counted_out(seed):
    rng = np.random.default_rng(seed)
    count = 7
    state = rng.exponential(1, (count, 2))
    stay, change = rng.exponential(1, (2, count))
    costs = {
        path: sum(state[t, s] for t, s in enumerate(path))
        + sum((stay if path[t] == path[t - 1] else change)[t] for t in range(1, count))
        for path in product((0, 1), repeat=count)
    }
    best = cheapest(state, stay, change)
    assert tuple(best) == min(costs, key=lambda p: costs[p])
    assert path_cost(best, state, stay, change) == pytest.approx(costs[tuple(best)])
    weights = {path: np.exp(-c) for path, c in costs.items()}
    second = [sum(w for p, w in weights.items() if p[t] == 1) for t in range(count)]
    expected = np.array(second) / sum(weights.values())
    np.testing.assert_allclose(posterior(state, stay, change)[:, 1], expected, rtol=1e-9)


def test_it_agrees_with_hmmlearn():
    rng = np.random.default_rng(0)
    observed = rng.integers(0, 3, 60)
    emission = np.array([[0.6, 0.3, 0.1], [0.1, 0.3, 0.6]])
    model = CategoricalHMM(n_components=2)
    model.startprob_ = np.array([0.5, 0.5])
    model.transmat_ = np.array([[0.9, 0.1], [0.1, 0.9]])
    model.emissionprob_ = emission
    state = -np.log(emission[:, observed].T)
    stay, change = np.full(60, -np.log(0.9)), np.full(60, -np.log(0.1))
    _, path = model.decode(observed[:, None], algorithm="viterbi")
    np.testing.assert_array_equal(cheapest(state, stay, change), path)
    np.testing.assert_allclose(
        posterior(state, stay, change), model.predict_proba(observed[:, None]), atol=1e-8
    )
