"""A model bent to new bouts, and how well that does on bouts it was not bent to."""

from __future__ import annotations

import copy
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from sklearn.metrics import f1_score
from sklearn.model_selection import StratifiedGroupKFold

from pipeline.errors import MatlineError
from pipeline.learning.samples import Samples
from pipeline.positions import PositionModel
from pipeline.positions.calibration import best_temperature, outvoted, tempered
from pipeline.settings import LearningSettings

BATCH = 200
"""Samples a step, scikit-learn's default."""


@dataclass(frozen=True)
class Trial:
    """What the folds showed.

    Attributes
    ----------
    macro_f1 : dict of int to float
        By passes over the samples, 0 for the model as it was; mean over joint states, of rows of
        bouts that were not learnt from. The body reader's votes count as they do in reading.
    passes : int
        The best of them.
    probabilities : ndarray, (N, states)
        Of every row, from the fold in which its bout was not learnt from, after that many passes.
    temperature : float
        Of the model after that many passes, as fits bouts that were not learnt from.
    """

    macro_f1: dict[int, float]
    passes: int
    probabilities: np.ndarray
    temperature: float


def cross_validate(model: PositionModel, samples: Samples, settings: LearningSettings) -> Trial:
    """Learn from some bouts, judge by the others, in turn; every bout is on one side only.

    Parameters
    ----------
    model : PositionModel
        To start from.
    samples : Samples
        Of at least two bouts.
    settings : LearningSettings
    """
    folds = StratifiedGroupKFold(
        min(settings.folds, len(np.unique(samples.bout))), shuffle=True, random_state=settings.seed
    )
    steps = (0, *settings.passes)
    shape = (len(samples), len(model.states))
    held_out = {passes: np.zeros(shape) for passes in steps}
    x, y = _prepared(model, samples), samples.y.astype(str)
    for learnt, judged in folds.split(x, y, samples.bout):
        for passes, network in _learning(model, x[learnt], y[learnt], steps, settings):
            held_out[passes][judged] = network.predict_proba(x[judged])
    temperatures = {n: _honest(p, samples, model) for n, p in held_out.items()}
    said = {n: outvoted(tempered(p, temperatures[n]), samples.votes) for n, p in held_out.items()}
    macro_f1 = {n: _macro_f1(samples.y, p, model.states) for n, p in said.items()}
    best = max(steps, key=lambda passes: (macro_f1[passes], -passes))
    return Trial(macro_f1, best, said[best], temperatures[best])


def bend(
    model: PositionModel,
    samples: Samples,
    passes: int,
    temperature: float,
    settings: LearningSettings,
    version: str,
) -> PositionModel:
    """Return the model after some passes over all samples."""
    x, y = _prepared(model, samples), samples.y.astype(str)
    *_, (_, network) = _learning(model, x, y, (passes,), settings)
    # The optimiser's memory is of no use afterwards and weighs twice the network.
    network.__dict__.pop("_optimizer", None)
    classifier = copy.deepcopy(model.classifier)
    classifier.steps[-1] = (classifier.steps[-1][0], network)
    return replace(model, classifier=classifier, temperature=temperature, version=version)


def _prepared(model: PositionModel, samples: Samples) -> np.ndarray:
    """Return the samples as the network takes them; once, since it takes longer than a pass."""
    return np.asarray(model.classifier[:-1].transform(samples.x), np.float32)


def _learning(
    model: PositionModel, x: np.ndarray, y: np.ndarray, steps: Sequence[int],
    settings: LearningSettings,
) -> Iterator[tuple[int, Any]]:  # fmt: skip
    """Yield the same network after ever more passes; it is changed in place between them."""
    network = copy.deepcopy(model.classifier[-1])
    if not hasattr(network, "partial_fit"):
        raise MatlineError(
            "This position model can't learn on from where it is; use the one that comes with "
            "Matline (`matline learn --back`)."
        )
    network.set_params(
        learning_rate_init=settings.rate,
        random_state=settings.seed,
        batch_size=min(BATCH, len(x)),
    )
    done = 0
    for passes in steps:
        for _ in range(passes - done):
            network.partial_fit(x, y)
        done = max(done, passes)
        yield passes, network


def _macro_f1(y: np.ndarray, probabilities: np.ndarray, states: Sequence[str]) -> float:
    said = np.array(states)[probabilities.argmax(axis=1)]
    return float(f1_score(y.astype(str), said, labels=np.unique(y.astype(str)), average="macro"))


def _honest(probabilities: np.ndarray, samples: Samples, model: PositionModel) -> float:
    """Temperature that fits held-out labels best, with the body reader's votes where it has any."""
    place = {state: number for number, state in enumerate(model.states)}
    right = np.array([place[state] for state in samples.y])
    return best_temperature(probabilities, right, samples.votes)
