"""The recipe of the position model.

A multilayer perceptron on windowed geometry features, fitted on bouts seen through random
cameras by readers of all qualities. Grouped folds keep every bout on one side: what a fold
predicts for bouts it never saw sets the temperature, and the last fit uses all bouts.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize_scalar
from sklearn.base import BaseEstimator
from sklearn.impute import SimpleImputer
from sklearn.model_selection import GroupKFold
from sklearn.neural_network import MLPClassifier
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import QuantileTransformer

from models.training.positions.data import Samples, StoredBout
from pipeline.positions import PositionModel


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
    folds : int
        Of bouts, for the temperature.
    seed : int
    """

    views: int = 6
    every: int = 2
    layers: tuple[int, ...] = (192, 96)
    epochs: int = 14
    penalty: float = 3e-4
    folds: int = 3
    seed: int = 0


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
) -> PositionModel:
    """Fit and calibrate a model.

    Parameters
    ----------
    bouts : sequence of StoredBout
    recipe : Recipe, optional
    say : callable
        Takes progress as sentences.
    """
    recipe = recipe or Recipe()
    samples = Samples.draw(bouts, np.random.default_rng(recipe.seed), recipe.views, recipe.every)
    say(f"{len(samples.y)} samples of {len(bouts)} bouts, {samples.x.shape[1]} inputs.")
    folds = GroupKFold(recipe.folds, shuffle=True, random_state=recipe.seed)
    log_likelihoods = []
    for fitted, held_out in folds.split(samples.x, samples.y, samples.group):
        model = _fit(samples, fitted, recipe)
        probabilities = model.predict_proba(samples.x[held_out])
        right = (model.classes_[probabilities.argmax(axis=1)] == samples.y[held_out]).mean()
        say(f"Fold of {len(np.unique(samples.group[held_out]))} bouts: {right:.3f} right.")
        log_likelihoods.append((np.log(np.maximum(probabilities, 1e-9)), model.classes_, held_out))
    temperature = _temperature(log_likelihoods, samples.y)
    say(f"Temperature {temperature:.2f}.")
    model = _fit(samples, np.arange(len(samples.y)), recipe)
    return PositionModel(
        model,
        tuple(str(state) for state in model.classes_),
        temperature,
        f"{len(bouts)} bouts, {len(samples.y)} samples, seed {recipe.seed}",
    )


def _fit(samples: Samples, rows: np.ndarray, recipe: Recipe):  # type: ignore[no-untyped-def]
    model = classifier(recipe)
    model.fit(samples.x[rows], samples.y[rows])
    network = model[-1]
    # The optimiser's memory is of no use afterwards and weighs twice the network.
    del network._optimizer
    network.coefs_ = [weights.astype(np.float32) for weights in network.coefs_]
    network.intercepts_ = [bias.astype(np.float32) for bias in network.intercepts_]
    return model


def _temperature(folds: list[tuple[np.ndarray, np.ndarray, np.ndarray]], y: np.ndarray) -> float:
    """Temperature with the highest likelihood of held-out labels (Guo et al., ICML 2017)."""

    def loss(log_temperature: float) -> float:
        total, count = 0.0, 0
        for log_p, classes, rows in folds:
            scaled = log_p / np.exp(log_temperature)
            scaled -= np.logaddexp.reduce(scaled, axis=1, keepdims=True)
            known = np.isin(y[rows], classes)
            column = np.searchsorted(classes, y[rows][known])
            total -= scaled[known][np.arange(known.sum()), column].sum()
            count += known.sum()
        return total / count

    return float(np.exp(minimize_scalar(loss, bounds=(-1.5, 1.5), method="bounded").x))
