"""Weights → the ONNX file of the package."""

from __future__ import annotations

import json
from pathlib import Path

import onnx
import torch
from torch import Tensor, nn

from models.training.lift.network import PairLift
from models.training.reader.weights_file import load_weights, read_facts
from pipeline.positions.states import STATES

OPSET = 17


class _Answer(nn.Module):
    """The network as the product asks it: probabilities, tempered, and keypoints in space."""

    def __init__(self, net: PairLift, temperature: float) -> None:
        super().__init__()
        self.net, self.temperature = net, temperature

    def forward(self, points: Tensor, confidence: Tensor) -> tuple[Tensor, Tensor]:
        told = self.net(points, confidence)
        return (told.states / self.temperature).softmax(-1), told.space


def export(weights: Path, path: Path, temperature: float = 1.0) -> dict:
    """Write ``pair_lift.onnx``, atomically; return the facts of its training."""
    facts = read_facts(weights)
    net = PairLift(facts["recipe"]["width"])
    load_weights(net, weights)
    part = path.with_suffix(".part")
    ways = torch.zeros(4, 20, 2, 17, 2), torch.ones(4, 20, 2, 17)
    torch.onnx.export(
        _Answer(net.eval(), temperature).eval(),
        ways,
        str(part),
        input_names=["points", "confidence"],
        output_names=["states", "space"],
        opset_version=OPSET,
        dynamic_axes={n: {1: "samples"} for n in ("points", "confidence", "states", "space")},
        dynamo=False,
    )
    model = onnx.load(str(part))
    for key, value in (
        ("states", json.dumps(STATES)),
        ("training", json.dumps(facts)),
    ):
        entry = model.metadata_props.add()
        entry.key, entry.value = key, value
    onnx.checker.check_model(model)
    onnx.save(model, str(part))
    part.replace(path)
    return facts
