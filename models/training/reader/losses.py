"""Targets, the permutation-free loss, and decoding on the GPU."""

from __future__ import annotations

from typing import NamedTuple

import torch
import torch.nn.functional as F
from torch import Tensor

from models.training.reader.augment import Batch
from models.training.reader.network import CROP, STRIDE, PairOutput

SIGMA = 1.8
"""Width of a target peak, heatmap cells."""
TRUNK = [5, 6, 11, 12]
SIDE = CROP // STRIDE


class Truth(NamedTuple):
    """Labels of a batch beside its keypoints: position index (-1 = none) and slot on top."""

    position: Tensor
    top: Tensor


class Parts(NamedTuple):
    """Terms of the loss, and which pictures took the exchanged order."""

    total: Tensor
    heat: Tensor
    mask: Tensor
    position: Tensor
    top: Tensor
    exchanged: Tensor


def peaks(keypoints: Tensor, visible: Tensor) -> Tensor:
    """Return target heatmaps (B, 2, 17, 64, 64); all zero for a keypoint outside."""
    centre = (keypoints / STRIDE - 0.5)[..., None, None, :]
    line = torch.arange(SIDE, device=keypoints.device, dtype=torch.float32)
    dx = (line[None, :] - centre[..., 0]) ** 2
    dy = (line[:, None] - centre[..., 1]) ** 2
    return torch.exp(-(dx + dy) / (2 * SIGMA**2)) * (visible > 0)[..., None, None]


def order(batch: Batch, truth: Truth) -> tuple[Batch, Truth]:
    """Put the athlete on top in slot 0, or, where nobody is, the one higher in the picture."""
    height = batch.keypoints[:, :, TRUNK, 1].mean(2)
    exchange = torch.where(truth.top >= 0, truth.top == 1, height[:, 0] > height[:, 1])
    return exchange_slots(batch, truth, exchange)


def exchange_slots(batch: Batch, truth: Truth, exchange: Tensor) -> tuple[Batch, Truth]:
    """Exchange the two slots where `exchange` (B,) is true."""

    def flip(x: Tensor) -> Tensor:
        return torch.where(exchange.reshape(-1, *[1] * (x.dim() - 1)), x.flip(1), x)

    top = torch.where(exchange & (truth.top >= 0), 1 - truth.top, truth.top)
    moved = batch._replace(
        keypoints=flip(batch.keypoints), visible=flip(batch.visible), masks=flip(batch.masks)
    )
    return moved, truth._replace(top=top)


def _heat_cost(logits: Tensor, target: Tensor, weight: Tensor) -> Tensor:
    """Weighted cross-entropy, (B,)."""
    cost = F.binary_cross_entropy_with_logits(logits, target, reduction="none") * (1 + 8 * target)
    return (cost.mean((-1, -2)) * weight).mean((1, 2))


def _mask_cost(logits: Tensor, target: Tensor) -> Tensor:
    """Cross-entropy plus Dice, (B,)."""
    cross = F.binary_cross_entropy_with_logits(logits, target, reduction="none").mean((1, 2, 3))
    p = logits.sigmoid()
    overlap = 2 * (p * target).sum((2, 3)) + 1
    dice = 1 - overlap / (p.sum((2, 3)) + target.sum((2, 3)) + 1)
    return cross + 0.5 * dice.mean(1)


def pair_loss(
    out: PairOutput, batch: Batch, truth: Truth, fixed: bool, hidden: float = 0.5
) -> Parts:
    """Loss of the pair reader.

    Parameters
    ----------
    hidden : float
        Weight of a hidden keypoint beside a visible one.
    fixed : bool
        Keep the slots in `order` (at first); otherwise each picture takes whichever order of the
        two slots costs less, so that the network may choose what tells athletes apart.
    """
    n = len(batch.image)
    batch, truth = order(batch, truth)
    heat = out.heatmaps.float().reshape(n, 2, 17, SIDE, SIDE)
    masks = out.masks.float()
    target = peaks(batch.keypoints, batch.visible)
    weight = torch.tensor([0.3, hidden, 1.0], device=heat.device)[batch.visible.long()]
    heat_cost = _heat_cost(heat, target, weight) * 20
    mask_cost = _mask_cost(masks, batch.masks) * 0.25
    exchanged = torch.zeros(n, dtype=torch.bool, device=heat.device)
    if not fixed:
        heat_other = _heat_cost(heat, target.flip(1), weight.flip(1)) * 20
        mask_other = _mask_cost(masks, batch.masks.flip(1)) * 0.25
        exchanged = heat_other + mask_other < heat_cost + mask_cost
        heat_cost = torch.where(exchanged, heat_other, heat_cost)
        mask_cost = torch.where(exchanged, mask_other, mask_cost)
        batch, truth = exchange_slots(batch, truth, exchanged)

    present = batch.visible > 0
    visible = out.visible.float().reshape(n, 2, 17)
    visible_cost = F.binary_cross_entropy_with_logits(
        visible, (batch.visible == 2).float(), reduction="none"
    )
    visible_mean = (visible_cost * present).sum() / present.sum().clamp(min=1)
    position = _where_known(
        F.cross_entropy(
            out.positions.float(),
            truth.position.clamp(min=0),
            reduction="none",
            label_smoothing=0.05,
        ),
        truth.position >= 0,
    )
    top = _where_known(
        F.binary_cross_entropy_with_logits(
            out.top.float()[:, 0], (truth.top == 0).float(), reduction="none"
        ),
        truth.top >= 0,
    )
    total = heat_cost.mean() + mask_cost.mean() + 0.1 * visible_mean + 0.15 * position + 0.15 * top
    return Parts(total, heat_cost.mean(), mask_cost.mean(), position, top, exchanged)


def _where_known(cost: Tensor, known: Tensor) -> Tensor:
    return (cost * known).sum() / known.sum().clamp(min=1)


def decode(heatmaps: Tensor) -> tuple[Tensor, Tensor]:
    """Peak of each heatmap, refined by the weighted mean of its 5 × 5 neighbourhood.

    Parameters
    ----------
    heatmaps : Tensor (B, 34, 64, 64)
        Logits.

    Returns
    -------
    points : Tensor (B, 2, 17, 2)
        Input pixels.
    score : Tensor (B, 2, 17)
        Height of the peak, 0–1.
    """
    n = len(heatmaps)
    p = heatmaps.float().sigmoid().reshape(n * 34, SIDE, SIDE)
    score, flat = p.flatten(1).max(1)
    y, x = flat // SIDE, flat % SIDE
    padded = F.pad(p, (2, 2, 2, 2))
    rows = torch.arange(n * 34, device=p.device)
    total = torch.zeros_like(score)
    sum_x, sum_y = torch.zeros_like(score), torch.zeros_like(score)
    for dy in range(-2, 3):
        for dx in range(-2, 3):
            w = padded[rows, y + 2 + dy, x + 2 + dx]
            total, sum_x, sum_y = total + w, sum_x + w * (x + dx), sum_y + w * (y + dy)
    points = (torch.stack([sum_x / total, sum_y / total], 1) + 0.5) * STRIDE
    return points.reshape(n, 2, 17, 2), score.reshape(n, 2, 17)
