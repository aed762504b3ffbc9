"""The search for the best path, against brute force and hmmlearn."""

from itertools import product

import numpy as np
import pytest
from hmmlearn.hmm import CategoricalHMM

from pipeline.positions.viterbi import best_path


def path_score(path, evidence, step_s, log_transition, minimum_s, extra_s):
    """Score of the definition in `best_path`'s notes, stretch by stretch; None if not allowed."""
    total, bounds = 0.0, [first for first, _ in path] + [len(evidence)]
    for k, (first, state) in enumerate(path):
        last = bounds[k + 1]
        length = step_s[first:last].sum()
        total += evidence[first:last, state].sum()
        if k == 0:
            total -= length / extra_s[state]
            continue
        if length < minimum_s[state] - 1e-9 and last < len(evidence):
            return None
        total -= max(length - minimum_s[state], 0) / extra_s[state]
        total += log_transition[path[k - 1][1], state] - np.log(extra_s[state])
    return total


def all_paths(samples, states):
    for labels in product(range(states), repeat=samples):
        yield [(t, label) for t, label in enumerate(labels) if t == 0 or labels[t - 1] != label]


@pytest.mark.parametrize("seed", range(12))
def test_best_path_is_the_best_of_all_paths(seed):
    rng = np.random.default_rng(seed)
    samples, states = 7, 3
    step_s = rng.uniform(0.1, 0.5, samples) if seed % 2 else np.full(samples, 0.2)
    evidence = np.log(rng.dirichlet(np.ones(states), samples)) * 2
    log_transition = np.log(rng.dirichlet(np.ones(states), states))
    np.fill_diagonal(log_transition, -np.inf)
    minimum_s, extra_s = rng.uniform(0.1, 0.9, states), rng.uniform(0.2, 2, states)
    model = (evidence, step_s, log_transition, minimum_s, extra_s)
    scored = [(path_score(p, *model), p) for p in all_paths(samples, states)]
    best = max((s, p) for s, p in scored if s is not None)
    found = best_path(*model)
    assert path_score(found, *model) == pytest.approx(best[0])
    assert found == best[1]


@pytest.mark.parametrize("seed", range(5))
def test_without_minimum_durations_it_is_hmmlearns_viterbi(seed):
    """An HMM's geometric durations are this model's exponential rest.

    Staying costs log(1 - leave) a sample and leaving log(leave): with steps of 1 s and no
    minimum, extra = -1 / log(stay) charges every sample including the first of a stretch once,
    so one stay is given back in the transition.
    """
    rng = np.random.default_rng(seed)
    samples, states, symbols = 60, 4, 9
    emission = rng.dirichlet(np.ones(symbols), states)
    stay = rng.uniform(0.6, 0.95, states)
    jump = rng.dirichlet(np.ones(states - 1), states)
    matrix = np.zeros((states, states))
    for s in range(states):
        matrix[s, [k for k in range(states) if k != s]] = jump[s] * (1 - stay[s])
        matrix[s, s] = stay[s]
    observed = rng.integers(symbols, size=samples)

    reference = CategoricalHMM(n_components=states, init_params="")
    reference.startprob_ = np.full(states, 1 / states)
    reference.transmat_, reference.emissionprob_ = matrix, emission
    _, labels = reference.decode(observed[:, None])

    extra_s = -1 / np.log(stay)
    evidence = np.log(emission[:, observed].T)
    evidence[0] -= np.log(stay)
    with np.errstate(divide="ignore"):
        log_transition = np.log(matrix) + np.log(extra_s) - np.log(stay)
    np.fill_diagonal(log_transition, -np.inf)
    path = best_path(evidence, np.ones(samples), log_transition, np.zeros(states), extra_s)
    bounds = [first for first, _ in path] + [samples]
    found = np.concatenate(
        [np.full(bounds[k + 1] - first, state) for k, (first, state) in enumerate(path)]
    )
    np.testing.assert_array_equal(found, labels)


def test_minimum_duration_of_n_samples_is_hmmlearns_chain_of_n_states():
    """A state that lasts n samples at least is n chained states, the last of which may stay."""
    rng = np.random.default_rng(3)
    samples, states, least, stay, symbols = 80, 3, 4, 0.8, 7
    emission = rng.dirichlet(np.full(symbols, 0.7), states)
    observed = rng.integers(symbols, size=samples)
    chain = states * least
    matrix = np.zeros((chain, chain))
    for s in range(states):
        for k in range(least - 1):
            matrix[s * least + k, s * least + k + 1] = 1
        last = s * least + least - 1
        matrix[last, last] = stay
        matrix[last, [o * least for o in range(states) if o != s]] = (1 - stay) / (states - 1)
    reference = CategoricalHMM(n_components=chain, init_params="")
    # The first stretch has no minimum: it may begin in the chain's last state.
    reference.startprob_ = np.tile(np.eye(least)[-1], states) / states
    reference.transmat_ = matrix
    reference.emissionprob_ = np.repeat(emission, least, axis=0)
    _, labels = reference.decode(observed[:, None])

    extra = -1 / np.log(stay)
    evidence = np.log(emission[:, observed].T)
    evidence[0] -= np.log(stay)
    log_transition = np.full((states, states), np.log((1 - stay) / (states - 1)) + np.log(extra))
    np.fill_diagonal(log_transition, -np.inf)
    path = best_path(
        evidence,
        np.ones(samples),
        log_transition,
        np.full(states, float(least)),
        np.full(states, extra),
    )
    bounds = [first for first, _ in path] + [samples]
    found = np.concatenate(
        [np.full(bounds[k + 1] - first, state) for k, (first, state) in enumerate(path)]
    )
    np.testing.assert_array_equal(found, labels // least)


def test_no_samples_give_no_path():
    assert best_path(np.zeros((0, 2)), np.zeros(0), np.zeros((2, 2)), np.ones(2), np.ones(2)) == []
