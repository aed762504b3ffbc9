"""The recipe of the position model.

A multilayer perceptron on windowed geometry features, fitted on bouts seen through random
cameras by readers of all qualities. Some bouts are held out: what the network says of them sets
the temperature, and what can be tuned elsewhere (`PositionsSettings`) is tuned on them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from sklearn.base import BaseEstimator
from sklearn.impute import SimpleImputer
from sklearn.model_selection import GroupShuffleSplit
from sklearn.neural_network import MLPClassifier
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import QuantileTransformer

from models.training.positions.data import Samples, StoredBout
from models.training.positions.readings import BoutReading
from pipeline.positions import PositionModel
from pipeline.positions.calibration import best_temperature


@dataclass(frozen=True)
class Recipe:
    """What training does.

    Attributes
    ----------
    views : int
        Cameras a bout.
    every : int
        Every n-th sample is kept: neighbours say nearly the same.
    layers : tuple of int
    epochs : int
    penalty : float
        L2.
    held_out : float
        Share of bouts that the network is not fitted on.
    seed : int
    workers : int
        Processes that read bouts.
    """

    views: int = 4
    every: int = 2
    layers: tuple[int, ...] = (192, 96)
    epochs: int = 10
    penalty: float = 3e-4
    held_out: float = 0.12
    seed: int = 0
    workers: int = 1


def classifier(recipe: Recipe) -> BaseEstimator:
    """Return the untrained estimator."""
    return make_pipeline(
        SimpleImputer(strategy="median", keep_empty_features=True),
        # Pixel geometry has long tails; ranks tame them.
        QuantileTransformer(
            n_quantiles=64,
            output_distribution="normal",
            subsample=50_000,
            random_state=recipe.seed,
        ),
        MLPClassifier(
            recipe.layers,
            alpha=recipe.penalty,
            batch_size=512,
            max_iter=recipe.epochs,
            n_iter_no_change=recipe.epochs,
            random_state=recipe.seed,
        ),
    )


def train(
    bouts: Sequence[StoredBout],
    recipe: Recipe | None = None,
    say: Callable[[str], None] = print,
    readings: Sequence[BoutReading] = (),
) -> PositionModel:
    """Fit and calibrate a model.

    Parameters
    ----------
    bouts : sequence of StoredBout
    recipe : Recipe, optional
    say : callable
        Takes progress as sentences.
    readings : sequence of BoutReading
        Filmed bouts as read, learned from besides.
    """
    recipe = recipe or Recipe()
    samples = Samples.draw(bouts, recipe.seed, recipe.views, recipe.every, recipe.workers)
    if readings:
        samples = Samples.joined([samples, Samples.of_readings(readings)])
    return fit(samples, recipe, say)


Fitter = Callable[[Samples, np.ndarray, Recipe], Any]
"""Fits a classifier on some rows of samples."""


def fit(
    samples: Samples,
    recipe: Recipe,
    say: Callable[[str], None] = print,
    fitter: Fitter | None = None,
) -> PositionModel:
    """Fit and calibrate a model on samples already drawn; parameters as for `train`."""
    count = len(np.unique(samples.group))
    say(f"{len(samples.y)} samples of {count} bouts, {samples.x.shape[1]} inputs.")
    split = GroupShuffleSplit(1, test_size=recipe.held_out, random_state=recipe.seed)
    fitted, held_out = next(split.split(samples.x, samples.y, samples.group))
    model = (fitter or fit_classifier)(samples, fitted, recipe)
    probabilities = model.predict_proba(samples.x[held_out])
    right = (model.classes_[probabilities.argmax(axis=1)] == samples.y[held_out]).mean()
    temperature = _temperature(probabilities, model.classes_, samples.y[held_out])
    say(
        f"{len(np.unique(samples.group[held_out]))} bouts held out: {right:.3f} right; "
        f"temperature {temperature:.2f}."
    )
    return PositionModel(
        model,
        tuple(str(state) for state in model.classes_),
        temperature,
        f"{count} bouts, {len(samples.y)} samples, seed {recipe.seed}",
    )


def fit_classifier(samples: Samples, rows: np.ndarray, recipe: Recipe) -> Any:
    """Fit `classifier` on some rows."""
    model = classifier(recipe)
    model.fit(samples.x[rows], samples.y[rows])
    network = model[-1]
    # The optimiser's memory is of no use afterwards and weighs twice the network.
    del network._optimizer
    network.coefs_ = [weights.astype(np.float32) for weights in network.coefs_]
    network.intercepts_ = [bias.astype(np.float32) for bias in network.intercepts_]
    return model


def _temperature(probabilities: np.ndarray, classes: np.ndarray, truth: np.ndarray) -> float:
    """Temperature that fits the held-out labels that the model knows best."""
    known = np.isin(truth, classes)
    return best_temperature(probabilities[known], np.searchsorted(classes, truth[known]))
