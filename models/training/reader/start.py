"""Where training starts: the published backbone, or a network of this package already exported."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import onnx
import onnx.numpy_helper
import torch
from torch import Tensor, nn

from models.training.reader.movenet import read_backbone
from models.training.reader.network import Attention, PairFinder, PairReader
from pipeline.bodies.pair import FINDER_WEIGHTS, READER_WEIGHTS


def start_from(net: PairReader | PairFinder, path: Path, sample: Callable[[], Tensor]) -> None:
    """Give a network its first weights.

    Parameters
    ----------
    net : PairReader or PairFinder
    path : Path
        Folder of the published MoveNet MultiPose files (backbone only), or of ONNX files written by
        `models.training.reader.export`, or such a file (all that the network shares with it).
    sample : callable
        Returns a batch of training input, (B, 3, S, S), to find the batch norms' statistics on:
        an exported file has them folded into its convolutions.
    """
    exported = exported_file(net, path)
    if exported is None:
        net.backbone.load_published(read_backbone(path))
    else:
        load_exported(net, exported, sample())


def exported_file(net: PairReader | PairFinder, path: Path) -> Path | None:
    """Return the exported network at a path, or None if the published backbone is there."""
    name = READER_WEIGHTS if isinstance(net, PairReader) else FINDER_WEIGHTS
    file = path / name if path.is_dir() else path
    return file if file.is_file() else None


def load_exported(net: PairReader | PairFinder, path: Path, batch: Tensor) -> None:
    """Load an exported file; on `batch` the network then says what the file says.

    Layers of the reader at stride 16 that the file lacks say nothing at first.

    Raises
    ------
    ValueError
        If the file holds a network of another shape.
    """
    graph = onnx.load(str(path)).graph
    stored = {i.name: onnx.numpy_helper.to_array(i).copy() for i in graph.initializer}
    state = net.state_dict()
    plain = {k: k.removeprefix("net.") for k in stored}
    named = {plain[k]: torch.from_numpy(v) for k, v in stored.items() if plain[k] in state}
    with _only_stored(net, named):
        shifts = _unfold(net, graph, stored, named, batch[:1])
    wanted = {k for k, _ in net.named_parameters() if not _is_norm(k, shifts)}
    wrong = [k for k in wanted if not k.startswith("fine.") and k not in named]
    wrong += [k for k, v in named.items() if v.shape != state[k].shape]
    if wrong:
        raise ValueError(f"{path} holds a network of another shape: {', '.join(wrong[:3])}.")
    net.load_state_dict({**state, **{k: v.to(state[k].device) for k, v in named.items()}})
    _calibrate(net, shifts, batch)


@contextmanager
def _only_stored(net: PairReader | PairFinder, named: dict[str, Tensor]) -> Iterator[None]:
    """Take the layers at stride 16 that a file lacks out of a network for a while."""
    if not isinstance(net, PairReader) or net.fine is None:
        yield
        return
    fine, layers = net.fine, net.fine.layers
    stored = {k.split(".")[2] for k in named if k.startswith("fine.layers.")}
    net.fine = fine if stored else None
    fine.layers = nn.Sequential(*list(layers)[: len(stored)])
    yield
    net.fine, fine.layers = fine, layers
    for layer in list(layers)[len(stored) :] if stored else []:
        assert isinstance(layer, Attention)
        layer.begin_silent()


def _is_norm(name: str, shifts: dict[str, Tensor]) -> bool:
    return name.rpartition(".")[0] in shifts


def _unfold(
    net: PairReader | PairFinder,
    graph: onnx.GraphProto,
    stored: dict[str, np.ndarray],
    named: dict[str, Tensor],
    example: Tensor,
) -> dict[str, Tensor]:
    """Add to `named` what the export renamed; return the bias folded from each batch norm."""
    convs, linears = _in_order(net, example)
    shifts: dict[str, Tensor] = {}
    for (name, norm), node in zip(convs, _using(graph, "Conv", stored), strict=True):
        named[f"{name}.weight"] = torch.from_numpy(stored[node.input[1]])
        if norm is not None:
            shifts[norm] = torch.from_numpy(stored[node.input[2]])
    for name, node in zip(linears, _using(graph, "MatMul", stored), strict=True):
        named[f"{name}.weight"] = torch.from_numpy(stored[node.input[1]].T.copy())
    return shifts


def _using(
    graph: onnx.GraphProto, kind: str, stored: dict[str, np.ndarray]
) -> list[onnx.NodeProto]:
    """Nodes of a kind whose second input is stored, in the order in which they run."""
    return [n for n in graph.node if n.op_type == kind and n.input[1] in stored]


def _in_order(net: nn.Module, example: Tensor) -> tuple[list[tuple[str, str | None]], list[str]]:
    """Names in running order: convolutions with their batch norm, and linear layers on tokens."""
    convs: list[tuple[str, str | None]] = []
    linears: list[str] = []

    def note(name: str) -> Callable:
        def hook(module: nn.Module, inputs: tuple[Tensor, ...]) -> None:
            if isinstance(module, nn.Conv2d):
                convs.append((name, None))
            elif isinstance(module, nn.BatchNorm2d):
                convs[-1] = (convs[-1][0], name)
            elif inputs[0].dim() == 3:
                linears.append(name)

        return hook

    kinds = (nn.Conv2d, nn.BatchNorm2d, nn.Linear)
    hooks = [
        module.register_forward_pre_hook(note(name))
        for name, module in net.named_modules()
        if isinstance(module, kinds)
    ]
    _look(net, example)
    for hook in hooks:
        hook.remove()
    return convs, linears


def _calibrate(net: nn.Module, shifts: dict[str, Tensor], batch: Tensor) -> None:
    """Set each batch norm so that it passes its input on, shifted, and knows its statistics."""

    def hook_for(shift: Tensor) -> Callable:
        def hook(norm: nn.BatchNorm2d, inputs: tuple[Tensor, ...]) -> None:
            x = inputs[0].float()
            mean, var = x.mean((0, 2, 3)), x.var((0, 2, 3), unbiased=False)
            assert norm.running_mean is not None
            assert norm.running_var is not None
            norm.running_mean.copy_(mean)
            norm.running_var.copy_(var)
            norm.weight.data.copy_((var + norm.eps).sqrt())
            norm.bias.data.copy_(shift.to(mean.device) + mean)

        return hook

    norms = dict(net.named_modules())
    hooks = [norms[k].register_forward_pre_hook(hook_for(v)) for k, v in shifts.items()]
    _look(net, batch)
    for hook in hooks:
        hook.remove()


def _look(net: nn.Module, batch: Tensor) -> None:
    training = net.training
    net.eval()
    with torch.no_grad():
        net.forward(batch)  # never the compiled call: hooks listen
    net.train(training)
