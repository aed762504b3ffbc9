"""Weights → ONNX files of the package, with what the runtime must know as metadata."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import onnx
import torch
from torch import nn

from models.training.reader.network import CROP, FRAME, PairFinder, PairReader
from models.training.reader.padding import pad_within
from models.training.reader.weights_file import load_weights, read_facts
from pipeline.timeline import POSITION_KEYS

OPSET = 17


def _write(
    net: nn.Module, size: int, outputs: list[str], path: Path, metadata: dict[str, object]
) -> None:
    temporary = path.with_suffix(".part")
    example = torch.zeros(1, 3, size, size)
    torch.onnx.export(
        net.eval(),
        (example,),
        str(temporary),
        input_names=["image"],
        output_names=outputs,
        opset_version=OPSET,
        dynamo=False,
    )
    model = pad_within(onnx.load(str(temporary)))
    for key, value in metadata.items():
        entry = model.metadata_props.add()
        entry.key, entry.value = key, json.dumps(value)
    onnx.checker.check_model(model)
    onnx.save(model, str(temporary))
    temporary.replace(path)


def trained_reader(weights: Path) -> tuple[PairReader, dict]:
    """Return the network of a ``pair_reader.npz``, and the facts of its training."""
    net = PairReader(fine_layers=read_facts(weights)["recipe"]["fine_layers"])
    return net, load_weights(net, weights)


def write_reader(
    net: PairReader, facts: dict, path: Path, confidence: tuple[float, float] = (1.0, 0.0)
) -> None:
    """Write a network as ``pair_reader.onnx``, with the facts of its training."""
    names = ["heatmaps", "masks", "visible", "positions", "top"]
    metadata: dict[str, object] = {
        "positions": POSITION_KEYS,
        "confidence": confidence,
        "training": facts,
    }
    _write(net, CROP, names, path, metadata)


def export_finder(weights: Path, path: Path) -> dict:
    """Write ``pair_finder.onnx``; return the training facts."""
    net = PairFinder()
    facts = load_weights(net, weights)
    _write(net, FRAME, ["maps"], path, {"training": facts})
    return facts


def fit_confidence(peak: np.ndarray, right: np.ndarray) -> tuple[float, float]:
    """Fit the logistic map from a heatmap peak's logit to the chance that the point is right.

    Parameters
    ----------
    peak : ndarray (N,)
        Heights of peaks, 0–1.
    right : ndarray, bool, (N,)
        Whether the point lay within 5 % of the crop side.

    Returns
    -------
    slope, offset : float
    """
    from sklearn.linear_model import LogisticRegression

    p = np.clip(peak, 1e-6, 1 - 1e-6)
    logit = np.log(p / (1 - p))
    fit = LogisticRegression(C=1e6).fit(logit[:, None], right)
    return float(fit.coef_[0, 0]), float(fit.intercept_[0])
