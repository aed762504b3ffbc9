"""How well a network in training reads held-out crops, on the GPU it is trained on."""

from __future__ import annotations

import torch
from torch import Tensor, nn

from models.training.reader.augment import plain_batch
from models.training.reader.data import Store
from models.training.reader.losses import decode
from models.training.reader.network import CROP

CORRECT = 0.05
"""A keypoint counts as found within this share of the crop side."""


def measure(net: nn.Module, store: Store, most: int = 6000, size: int = 250) -> dict[str, float]:
    """Measure on crops framed as at run time.

    Returns
    -------
    dict
        ``visible`` and ``hidden``: share of keypoints within 5 % of the crop side, athletes put in
        the better order; ``swapped``: pictures where at least one athlete's keypoints are mostly
        nearer to the other's truth; ``position`` and ``top``: share right.
    """
    net.eval()
    found: dict[str, list[Tensor]] = {k: [] for k in ("visible", "hidden", "swapped", "position")}
    found["top"] = []
    with torch.no_grad():
        for at in store.batches(size):
            if at.start >= most:
                break
            batch = plain_batch(
                store.image[at], store.labels[at], store.keypoints[at], store.visible[at]
            )
            with torch.autocast(store.device.type, torch.bfloat16, store.device.type == "cuda"):
                out = net(batch.image.contiguous(memory_format=torch.channels_last))
            points, _ = decode(out.heatmaps)
            straight = (points - batch.keypoints).norm(dim=-1)
            crossed = (points - batch.keypoints.flip(1)).norm(dim=-1)
            present = batch.visible > 0
            exchange = _mean(crossed, present.flip(1)) < _mean(straight, present)
            distance = torch.where(exchange[:, None, None], crossed.flip(1), straight)
            wrong = torch.where(exchange[:, None, None], straight, crossed.flip(1))
            mixed = ((wrong < distance) & (distance > CORRECT * CROP) & present).float().sum(2)
            right = (distance < CORRECT * CROP).float()
            found["visible"].append(right[batch.visible == 2])
            found["hidden"].append(right[batch.visible == 1])
            found["swapped"].append((mixed > present.sum(2) / 2).any(1).float())
            position = store.position[at].long()
            known = position >= 0
            found["position"].append((out.positions.argmax(1) == position)[known].float())
            top = store.top[at].long()
            slot = torch.where(exchange, 1 - top, top)
            found["top"].append(((out.top[:, 0] > 0) == (slot == 0))[top >= 0].float())
    net.train()
    return {key: round(float(torch.cat(values).mean()), 4) for key, values in found.items()}


def _mean(distance: Tensor, present: Tensor) -> Tensor:
    return (distance * present).sum((1, 2)) / present.sum((1, 2)).clamp(min=1)
