"""Padding within convolutions: faster, and not one answer changed."""

from pathlib import Path

import numpy as np
import pytest

torch = pytest.importorskip("torch")
onnx = pytest.importorskip("onnx")
ort = pytest.importorskip("onnxruntime")

from torch import nn  # noqa: E402
from torch.nn import functional as F  # noqa: E402

from models.training.reader.padding import pad_within  # noqa: E402
from pipeline.bodies.pair import FINDER_WEIGHTS, READER_WEIGHTS, weights_path  # noqa: E402


class Padded(nn.Module):
    """Two steps of stride 2, each padded on the right and below, as the backbone's are."""

    def __init__(self, twice_read: bool = False) -> None:
        super().__init__()
        self.first, self.second = nn.Conv2d(3, 8, 3, 2), nn.Conv2d(8, 8, 3, 2, 0, groups=8)
        self.twice_read = twice_read

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        """Return two numbers a cell, or their sum with what was padded."""
        x = F.relu(self.first(F.pad(x, (0, 1, 0, 1))))
        padded = F.pad(x, (0, 1, 0, 1))
        out = self.second(padded)
        return out + padded[..., : out.shape[-2], : out.shape[-1]] if self.twice_read else out


def exported(net: nn.Module, path: Path) -> "onnx.ModelProto":
    torch.onnx.export(net.eval(), (torch.zeros(1, 3, 32, 32),), str(path), dynamo=False)
    return onnx.load(str(path))


def answer(model: "onnx.ModelProto", image: np.ndarray) -> np.ndarray:
    session = ort.InferenceSession(model.SerializeToString(), providers=["CPUExecutionProvider"])
    return session.run(None, {session.get_inputs()[0].name: image})[0]


@pytest.mark.parametrize(("twice_read", "left"), [(False, 0), (True, 1)])
def test_a_network_answers_the_same_to_the_bit(tmp_path, twice_read, left):
    torch.manual_seed(3)
    model = exported(Padded(twice_read), tmp_path / "net.onnx")
    made = pad_within(model)
    onnx.checker.check_model(made)
    steps = [node.op_type for node in made.graph.node]
    assert [node.op_type for node in model.graph.node].count("Pad") == 2
    assert steps.count("Pad") == left
    image = np.random.default_rng(5).normal(size=(1, 3, 32, 32)).astype(np.float32)
    np.testing.assert_array_equal(answer(made, image), answer(model, image))


def test_the_shipped_networks_have_no_padding_left():
    for path in (weights_path(READER_WEIGHTS), weights_path(FINDER_WEIGHTS)):
        assert "Pad" not in {node.op_type for node in onnx.load(str(path)).graph.node}, path
