"""The mean of two networks: what training began from and what it came to, or two runs' from there.

Training on other poses, or for a short time, makes a network better there and somewhat worse at
what it knew. Half-way between the two it is nearly as good as the better one at either
(Wortsman et al., *Robust fine-tuning of zero-shot models*, arXiv 2109.01903). Two runs from one
start, with other draws and settings, may have a mean that is better than either (Wortsman et al.,
*Model soups*, arXiv 2203.05482).
"""

from __future__ import annotations

from pathlib import Path

import torch
from torch import nn
from torch.nn.utils.fusion import fuse_conv_bn_eval

from models.training.reader.export import trained_reader
from models.training.reader.network import CROP, PairReader
from models.training.reader.start import load_exported
from pipeline.bodies.network import Network


def averaged(begun: Path, weights: Path, share: float) -> tuple[PairReader, dict]:
    """Return the network at a share of the way from one to another, and the training's facts.

    Parameters
    ----------
    begun : Path
        The ONNX file that training began from, or another run's from the same start.
    weights : Path
        What it wrote (``pair_reader.npz``).
    share : float
        0 is what it began from, 1 what it came to.

    Returns
    -------
    PairReader
        Its batch norms folded into its convolutions: only then do two networks' weights mean the
        same.
    dict
    """
    second, facts = trained_reader(weights)
    first = PairReader(fine_layers=facts["recipe"]["fine_layers"])
    load_exported(first, begun, torch.rand(16, 3, CROP, CROP) * 2 - 1)
    for net in (first, second):
        fold_norms(net.eval())
    known = first.state_dict()
    second.load_state_dict(
        {k: (1 - share) * known[k] + share * v for k, v in second.state_dict().items()}
    )
    known_training = Network(begun, threads=1).metadata.get("training", {})
    known_facts = {"with": begun.name, "share": share, "training": known_training}
    return second, {**facts, "averaged": known_facts}


def fold_norms(net: nn.Module) -> None:
    """Fold every batch norm that follows a convolution into it; says the same afterwards."""
    for part in net.modules():
        if not isinstance(part, nn.Sequential):
            continue
        for at, (conv, norm) in enumerate(zip(list(part), list(part)[1:], strict=False)):
            if isinstance(conv, nn.Conv2d) and isinstance(norm, nn.BatchNorm2d):
                part[at], part[at + 1] = fuse_conv_bn_eval(conv, norm), nn.Identity()
