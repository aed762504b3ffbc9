"""The recipe's classifier fitted by PyTorch, several times as fast; and another as a check.

What comes out is what `models.training.positions.train` makes: scikit-learn's own objects.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np
from sklearn.ensemble import HistGradientBoostingClassifier
from sklearn.neural_network import MLPClassifier
from sklearn.pipeline import Pipeline

from models.training.positions.data import Samples
from models.training.positions.train import Recipe, classifier

FITTED_ON = 50_000
"""Rows that medians and ranks are taken from."""
BLOCK = 4096
BOOSTED_ON = 20_000
"""Rows that boosting is fitted on: it takes many times as long as the network."""


class NetworkFitter:
    """Fits `classifier` on a device, preparing rows with several threads."""

    def __init__(self, device: str = "cpu", threads: int = 1) -> None:
        self._device, self._threads = device, threads

    def __call__(self, samples: Samples, rows: np.ndarray, recipe: Recipe) -> Pipeline:
        """Fit on some rows; a `train.Fitter`."""
        model = classifier(recipe)
        rng = np.random.default_rng(recipe.seed)
        some = rows if len(rows) <= FITTED_ON else rng.choice(rows, FITTED_ON, replace=False)
        prepare, network = model[:-1], model[-1]
        prepare.fit(samples.x[some])
        x = self._prepared(prepare, samples.x[rows])
        y = samples.y[rows]
        draw_weights(network, x, y)
        fit_network(network, x, np.searchsorted(network.classes_, y), recipe.epochs, self._device)
        del network._optimizer
        return model

    def _prepared(self, prepare: Pipeline, x: np.ndarray) -> np.ndarray:
        parts = [x[start : start + BLOCK] for start in range(0, len(x), BLOCK)]
        with ThreadPoolExecutor(self._threads) as pool:
            return np.concatenate(list(pool.map(prepare.transform, parts))).astype(np.float32)


def draw_weights(network: MLPClassifier, x: np.ndarray, y: np.ndarray) -> None:
    """Let scikit-learn draw a network's first weights, without a step from them."""
    rate = network.learning_rate_init
    first = slice(network.batch_size)
    network.set_params(learning_rate_init=1e-30)
    network.partial_fit(x[first], y[first], classes=np.unique(y))
    network.set_params(learning_rate_init=rate)


def fit_network(
    network: MLPClassifier, x: np.ndarray, y: np.ndarray, epochs: int, device: str = "cpu"
) -> None:
    """Give a network the weights that training as scikit-learn does it comes to.

    From the weights it has, Adam at its rate on batches of its size, with its penalty.

    Parameters
    ----------
    network : MLPClassifier
        With weights as from `draw_weights`; they are replaced.
    x : ndarray, float32, (N, K)
    y : ndarray of int, (N,)
        Rows of ``network.classes_``.
    epochs : int
    device : str
        ``"cpu"``, ``"cuda"`` or ``"cuda:1"``.
    """
    import torch

    generator = torch.Generator().manual_seed(network.random_state)
    layers = zip(network.coefs_, network.intercepts_, strict=True)
    weights = [
        torch.as_tensor(part, dtype=torch.float32).to(device).clone().requires_grad_()
        for layer in layers
        for part in layer
    ]
    inputs, targets = torch.as_tensor(x).to(device), torch.as_tensor(y).to(device)
    adam = torch.optim.Adam(weights, lr=network.learning_rate_init)
    batch = int(network.batch_size)
    for _ in range(epochs):
        order = torch.randperm(len(inputs), generator=generator).to(device)
        for rows in order.split(batch):
            told = inputs[rows]
            for layer in range(0, len(weights), 2):
                told = told.relu() if layer else told
                told = told @ weights[layer] + weights[layer + 1]
            loss = torch.nn.functional.cross_entropy(told, targets[rows])
            penalty = sum((w.square().sum() for w in weights[::2]), torch.zeros((), device=device))
            adam.zero_grad()
            (loss + 0.5 * network.alpha / len(rows) * penalty).backward()
            adam.step()
    plain = [w.detach().cpu().numpy() for w in weights]
    network.coefs_, network.intercepts_ = plain[::2], plain[1::2]


def fit_boosting(samples: Samples, rows: np.ndarray, recipe: Recipe) -> Any:
    """Fit gradient boosting on the same samples, as a second opinion; a `train.Fitter`."""
    rng = np.random.default_rng(recipe.seed)
    some = rows if len(rows) <= BOOSTED_ON else rng.choice(rows, BOOSTED_ON, replace=False)
    model = HistGradientBoostingClassifier(
        max_iter=40, learning_rate=0.15, max_leaf_nodes=15, min_samples_leaf=40,
        max_features=0.2, l2_regularization=1.0, early_stopping=False, random_state=recipe.seed,
    )  # fmt: skip
    return model.fit(samples.x[some], samples.y[some])
