"""The network: two skeletons through time, as a camera saw them → the pair in space, its state.

It measures and normalises by itself, so that training and product can't differ in that.
"""

from __future__ import annotations

from typing import NamedTuple

import torch
from torch import Tensor, nn

from pipeline.geometry.skeleton import STATURE_FRACTIONS, TRUNK
from pipeline.positions.states import STATES

AROUND = 7
"""Samples before and after over which the pair's size in the picture is averaged."""
_SEGMENTS = (
    (5, 7), (7, 9), (6, 8), (8, 10), (11, 13), (13, 15), (12, 14), (14, 16), (5, 6), (11, 12),
    (5, 11), (6, 12),
)  # fmt: skip
"""What may cross what: limbs, shoulders, hips, flanks."""
_FRACTIONS = [STATURE_FRACTIONS[n] for n in ("upper_arm", "forearm", "thigh", "shank")]
_BONES = ((5, 7, 0), (6, 8, 0), (7, 9, 1), (8, 10, 1), (11, 13, 2), (12, 14, 2), (13, 15, 3),
          (14, 16, 3))  # fmt: skip


class Told(NamedTuple):
    """What the network says of B windows of T samples.

    Attributes
    ----------
    states : Tensor, (B, T, K)
        Logits of `STATES`.
    space : Tensor, (B, T, 2, 17, 3)
        Keypoints in trunk lengths (`models.training.lift.views.Seen.space`).
    """

    states: Tensor
    space: Tensor


class Block(nn.Module):
    """A residual block; with `reach` it also mixes so many samples before and after."""

    def __init__(self, width: int, reach: int = 0, drop: float = 0.0) -> None:
        super().__init__()
        self.norm = nn.LayerNorm(width)
        self.mix = (
            nn.Conv1d(width, width, 2 * reach + 1, padding=reach, groups=width) if reach else None
        )
        self.layers = nn.Sequential(
            nn.Linear(width, 2 * width), nn.GELU(), nn.Dropout(drop), nn.Linear(2 * width, width)
        )

    def forward(self, x: Tensor) -> Tensor:
        inner = x
        if self.mix is not None:
            inner = self.mix(inner.transpose(1, 2)).transpose(1, 2)
        return x + self.layers(self.norm(inner))


class PairLift(nn.Module):
    """See the module.

    Parameters
    ----------
    width : int
    still_blocks, moving_blocks : int
        Of each sample by itself, and across samples.
    """

    def __init__(
        self, width: int = 320, still_blocks: int = 3, moving_blocks: int = 3, drop: float = 0.1
    ) -> None:
        super().__init__()
        inputs = 34 * 4 + 2 * 2 + 2 * len(_SEGMENTS) ** 2
        self.enter = nn.Linear(inputs, width)
        self.still = nn.Sequential(*(Block(width, drop=drop) for _ in range(still_blocks)))
        self.moving = nn.Sequential(*(Block(width, 3, drop) for _ in range(moving_blocks)))
        self.norm = nn.LayerNorm(width)
        self.space = nn.Linear(width, 2 * 17 * 3)
        self.states = nn.Linear(width, len(STATES))

    def forward(self, points: Tensor, confidence: Tensor) -> Told:
        """Say what is seen.

        Parameters
        ----------
        points : Tensor, (B, T, 2, 17, 2)
            Picture coordinates, y down; anything finite where not seen.
        confidence : Tensor, (B, T, 2, 17)
            0 where not seen.
        """
        x = self.enter(measured(points, confidence))
        x = self.norm(self.moving(self.still(x)))
        space = self.space(x)
        return Told(self.states(x), space.reshape(*space.shape[:2], 2, 17, 3))


def measured(points: Tensor, confidence: Tensor) -> Tensor:
    """Return what the network begins with, (B, T, inputs)."""
    seen = (confidence > 0).to(points.dtype)
    placed, own = normalised(points, seen)
    crossed = _crossings(placed, seen)
    parts = [placed.flatten(2), seen.flatten(2), confidence.flatten(2), own.flatten(2), crossed]
    return torch.cat(parts, -1)


def normalised(points: Tensor, seen: Tensor) -> tuple[Tensor, Tensor]:
    """Put the pair in the middle, its trunks about one long; zeros where not seen.

    Returns
    -------
    placed : Tensor, (B, T, 2, 17, 2)
    own : Tensor, (B, T, 2, 2)
        For each athlete: the log of how long it looks beside the pair around that time, and
        whether that is known.
    """
    trunk = seen.new_tensor([1.0 if i in (5, 6, 11, 12) else 0.02 for i in range(17)])
    weight = seen * trunk
    total = weight.sum((2, 3)).clamp(min=1e-6)
    centre = (weight[..., None] * points).sum((2, 3)) / total[..., None]
    size, known = _sizes(points, seen)
    log, both = size.clamp(min=1e-6).log() * known, known.sum(-1)
    around = _around(log.sum(-1)) / _around(both).clamp(min=1e-6)
    scale = around.exp()[:, :, None, None, None]
    placed = (points - centre[:, :, None, None]) / scale * seen[..., None]
    own = torch.stack([log - around[..., None] * known, known], -1)
    return placed.clamp(-8, 8), own


def _around(values: Tensor) -> Tensor:
    """Mean of (B, T) over the samples around each."""
    pooled = nn.functional.avg_pool1d(
        values[:, None], 2 * AROUND + 1, stride=1, padding=AROUND, count_include_pad=True
    )
    return pooled[:, 0]


def _sizes(points: Tensor, seen: Tensor) -> tuple[Tensor, Tensor]:
    """How long each trunk would be if it lay in the picture, and whether that is known, (B, T, 2).

    A high mean (of the 8th power) of what trunk and limbs say: what points away looks short.
    """
    said, known = [], []
    for a, b, kind in _BONES:
        said.append(
            (points[..., a, :] - points[..., b, :]).square().sum(-1) / _FRACTIONS[kind] ** 2
        )
        known.append(seen[..., a] * seen[..., b])
    trunk = points[..., 5, :] + points[..., 6, :] - points[..., 11, :] - points[..., 12, :]
    said.append(trunk.square().sum(-1) / (2 * TRUNK) ** 2)
    known.append(seen[..., 5] * seen[..., 6] * seen[..., 11] * seen[..., 12])
    squares, given = torch.stack(said, -1), torch.stack(known, -1)
    largest = (squares * given).amax(-1, keepdim=True).clamp(min=1e-6)
    ratio = (squares / largest) ** 4 * given
    mean = ratio.sum(-1) / given.sum(-1).clamp(min=1)
    size = TRUNK * largest[..., 0].sqrt() * mean.clamp(min=1e-6) ** 0.125
    return size, (given.sum(-1) >= 3).to(points.dtype)


def _crossings(placed: Tensor, seen: Tensor) -> Tensor:
    """Which segments of A cross which of B, softly, and which way round; (B, T, 2 × 144)."""
    first, last = ([s[k] for s in _SEGMENTS] for k in (0, 1))
    start, along = placed[..., first, :], placed[..., last, :] - placed[..., first, :]
    there = seen[..., first] * seen[..., last]
    p, r = start[:, :, 0, :, None], along[:, :, 0, :, None]
    q, s = start[:, :, 1, None], along[:, :, 1, None]
    det = _cross(r, s)
    inverse = det / (det.square() + 1e-4)
    t, u = _cross(q - p, s) * inverse, _cross(q - p, r) * inverse
    inside = torch.sigmoid(12 * (0.5 - (t - 0.5).abs())) * torch.sigmoid(
        12 * (0.5 - (u - 0.5).abs())
    )
    inside = inside * there[:, :, 0, :, None] * there[:, :, 1, None]
    return torch.cat([inside.flatten(2), (inside * torch.tanh(8 * det)).flatten(2)], -1)


def _cross(a: Tensor, b: Tensor) -> Tensor:
    return a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0]
