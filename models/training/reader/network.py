"""The two networks: `PairReader` reads a crop of the pair, `PairFinder` a whole frame.

Both stand on the same backbone, a MobileNetV2 of width 1.5 (arXiv 1801.04381) laid out as in the
published MoveNet MultiPose, so that its weights can be the start.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import torch
import torch.nn.functional as F
from torch import Tensor, nn

from pipeline.timeline import POSITION_KEYS

CROP = 256
"""Side of the reader's square input, pixels."""
STRIDE = 4
"""Input pixels to one heatmap cell."""
FRAME = 320
"""Side of the finder's square input, pixels."""
FINDER_STRIDE = 8

STEM, FIRST = 48, 24
WIDTHS = (40, 40, 48, 48, 48, 96, 96, 96, 96, 144, 144, 144, 240, 240, 240, 480)
STRIDES = (2, 1, 2, 1, 1, 2, 1, 1, 1, 1, 1, 1, 2, 1, 1, 1)


class SameConv(nn.Module):
    """Convolution with the SAME padding of the published weights, batch norm already folded."""

    def __init__(
        self, cin: int, cout: int, kernel: int, stride: int = 1, groups: int = 1, act: bool = True
    ) -> None:
        super().__init__()
        padding = kernel // 2 if stride == 1 else 0
        self.conv = nn.Conv2d(cin, cout, kernel, stride, padding, groups=groups)
        self.stride, self.act = stride, act

    def forward(self, x: Tensor) -> Tensor:
        if self.stride == 2:
            x = F.pad(x, (0, 1, 0, 1))
        x = self.conv(x)
        return F.relu6(x) if self.act else x


class Backbone(nn.Module):
    """MobileNetV2 × 1.5 without its last 1 × 1 convolution.

    Returns features at strides 4 (40 channels), 8 (48), 16 (144) and 32 (480).
    """

    def __init__(self) -> None:
        super().__init__()
        self.stem = SameConv(3, STEM, 3, 2)
        self.first = nn.Sequential(
            SameConv(STEM, STEM, 3, groups=STEM), SameConv(STEM, FIRST, 1, act=False)
        )
        self.blocks = nn.ModuleList()
        width = FIRST
        for cout, stride in zip(WIDTHS, STRIDES, strict=True):
            inner = width * 6
            self.blocks.append(
                nn.Sequential(
                    SameConv(width, inner, 1),
                    SameConv(inner, inner, 3, stride, groups=inner),
                    SameConv(inner, cout, 1, act=False),
                )
            )
            width = cout

    def forward(self, x: Tensor) -> tuple[Tensor, Tensor, Tensor, Tensor]:
        x = self.first(self.stem(x))
        features: list[Tensor] = []
        for block, stride in zip(self.blocks, STRIDES, strict=True):
            y = block(x)
            x = x + y if stride == 1 and x.shape == y.shape else y
            features.append(x)
        return features[1], features[4], features[11], features[15]

    def load_published(self, weights: dict[str, np.ndarray]) -> None:
        """Copy the published weights (see `movenet.read_backbone`)."""
        convs = [m.conv for m in self.modules() if isinstance(m, SameConv)]
        with torch.no_grad():
            for place, conv in enumerate(convs):
                conv.weight.copy_(torch.from_numpy(weights[f"{place:02d}_w"].astype(np.float32)))
                bias = weights.get(f"{place:02d}_b")
                assert conv.bias is not None
                conv.bias.copy_(
                    torch.zeros_like(conv.bias)
                    if bias is None
                    else torch.from_numpy(bias.astype(np.float32))
                )


def lateral(cin: int, cout: int) -> nn.Sequential:
    """1 × 1 convolution, batch norm, ReLU."""
    return nn.Sequential(
        nn.Conv2d(cin, cout, 1, bias=False), nn.BatchNorm2d(cout), nn.ReLU(inplace=True)
    )


def separable(cin: int, cout: int) -> nn.Sequential:
    """Depthwise 5 × 5 then 1 × 1, each with batch norm and ReLU."""
    return nn.Sequential(
        nn.Conv2d(cin, cin, 5, padding=2, groups=cin, bias=False),
        nn.BatchNorm2d(cin),
        nn.ReLU(inplace=True),
        nn.Conv2d(cin, cout, 1, bias=False),
        nn.BatchNorm2d(cout),
        nn.ReLU(inplace=True),
    )


def up(x: Tensor) -> Tensor:
    """Double the resolution."""
    return F.interpolate(x, scale_factor=2.0, mode="nearest")


class Attention(nn.Module):
    """One pre-norm transformer layer, written out so that it exports to plain ONNX operators."""

    def __init__(self, width: int, heads: int = 4) -> None:
        super().__init__()
        self.heads = heads
        self.norm1, self.norm2 = nn.LayerNorm(width), nn.LayerNorm(width)
        self.qkv, self.out = nn.Linear(width, 3 * width), nn.Linear(width, width)
        self.mlp = nn.Sequential(
            nn.Linear(width, 2 * width), nn.GELU(), nn.Linear(2 * width, width)
        )

    def begin_silent(self) -> None:
        """Let it pass its input on at first."""
        last = self.mlp[2]
        assert isinstance(last, nn.Linear)
        for linear in (self.out, last):
            nn.init.zeros_(linear.weight)
            nn.init.zeros_(linear.bias)

    def forward(self, x: Tensor) -> Tensor:
        b, n, c = x.shape
        qkv = self.qkv(self.norm1(x)).reshape(b, n, 3, self.heads, c // self.heads)
        q, k, v = qkv.permute(2, 0, 3, 1, 4)
        weights = (q @ k.transpose(-2, -1) * (c // self.heads) ** -0.5).softmax(-1)
        x = x + self.out((weights @ v).transpose(1, 2).reshape(b, n, c))
        return x + self.mlp(self.norm2(x))


class Mixer(nn.Module):
    """Lets every part of the picture see every other: which limb is whose is a global question."""

    def __init__(self, cin: int, width: int, tokens: int, layers: int) -> None:
        super().__init__()
        self.enter = nn.Conv2d(cin, width, 1)
        self.place = nn.Parameter(torch.randn(1, tokens, width) * 0.02)
        self.layers = nn.Sequential(*(Attention(width) for _ in range(layers)))
        self.norm = nn.LayerNorm(width)

    def begin_silent(self) -> Mixer:
        """Let it add nothing at first, so that a trained network can be given one."""
        nn.init.zeros_(self.norm.weight)
        return self

    def forward(self, x: Tensor) -> Tensor:
        x = self.enter(x)
        b, c, h, w = x.shape
        t = self.layers(x.flatten(2).transpose(1, 2) + self.place)
        return self.norm(t).transpose(1, 2).reshape(b, c, h, w)


class PairOutput(NamedTuple):
    """Raw outputs of `PairReader`; two slots, in no lasting order.

    Attributes
    ----------
    heatmaps : Tensor (B, 34, 64, 64)
        Logits; slot 0's 17 keypoints, then slot 1's.
    masks : Tensor (B, 2, 64, 64)
        Logits of each slot's visible body.
    visible : Tensor (B, 34)
        Logit that a keypoint is visible (against hidden).
    positions : Tensor (B, 14)
        Logits, order of `POSITION_KEYS`.
    top : Tensor (B, 1)
        Logit that slot 0 is on top.
    """

    heatmaps: Tensor
    masks: Tensor
    visible: Tensor
    positions: Tensor
    top: Tensor


class PairReader(nn.Module):
    """Crop of a pair, float (B, 3, 256, 256) in [-1, 1] → `PairOutput`.

    Parameters
    ----------
    width, mix : int
        Channels of the feature pyramid and of the mixer at stride 32.
    layers, fine_layers : int
        Attention layers at stride 32 and at stride 16.
    """

    def __init__(
        self, width: int = 128, mix: int = 192, layers: int = 3, fine_layers: int = 4
    ) -> None:
        super().__init__()
        self.backbone = Backbone()
        self.mixer = Mixer(WIDTHS[15], mix, (CROP // 32) ** 2, layers)
        self.lat5, self.lat4 = lateral(mix, width), lateral(WIDTHS[11], width)
        self.lat3, self.lat2 = lateral(WIDTHS[4], width), lateral(WIDTHS[1], width)
        self.smooth5 = separable(width, width)
        self.smooth4 = nn.Sequential(separable(width, width), separable(width, width))
        self.fine: Mixer | None = None
        if fine_layers:
            self.fine = Mixer(width, width, (CROP // 16) ** 2, fine_layers).begin_silent()
        self.smooth3 = separable(width, width)
        self.smooth2 = nn.Sequential(separable(width, width), separable(width, width))
        self.heat = nn.Sequential(separable(width, width), nn.Conv2d(width, 34, 1))
        self.mask = nn.Conv2d(width, 2, 1)
        self.visible = nn.Linear(mix + width, 34)
        self.positions = nn.Sequential(nn.Dropout(0.2), nn.Linear(mix + width, len(POSITION_KEYS)))
        self.top = nn.Linear(mix + width, 1)
        final = self.heat[1]
        assert isinstance(final, nn.Conv2d)
        assert final.bias is not None
        nn.init.constant_(final.bias, -4.0)

    def forward(self, x: Tensor) -> PairOutput:
        c2, c3, c4, c5 = self.backbone(x)
        mixed = self.mixer(c5)
        p5 = self.smooth5(self.lat5(mixed))
        p4 = self.smooth4(self.lat4(c4) + up(p5))
        if self.fine is not None:
            p4 = p4 + self.fine(p4)
        p3 = self.smooth3(self.lat3(c3) + up(p4))
        p2 = self.smooth2(self.lat2(c2) + up(p3))
        whole = torch.cat([mixed.mean((2, 3)), p4.mean((2, 3))], 1)
        return PairOutput(
            self.heat(p2),
            self.mask(p2),
            self.visible(whole),
            self.positions(whole),
            self.top(whole),
        )


class PairFinder(nn.Module):
    """Whole frame, float (B, 3, 320, 320) in [-1, 1] → maps at stride 8.

    Returns
    -------
    Tensor (B, 8, 40, 40)
        Channels: pair centre (logit), its log width and log height (fractions of the frame side),
        engaged (logit), other people's centre (logit), their log width and log height, spare.
    """

    def __init__(self, width: int = 96, mix: int = 128) -> None:
        super().__init__()
        self.backbone = Backbone()
        self.mixer = Mixer(WIDTHS[15], mix, (FRAME // 32) ** 2, 2)
        self.lat5, self.lat4 = lateral(mix, width), lateral(WIDTHS[11], width)
        self.lat3 = lateral(WIDTHS[4], width)
        self.smooth4, self.smooth3 = separable(width, width), separable(width, width)
        self.maps = nn.Sequential(separable(width, width), nn.Conv2d(width, 8, 1))
        final = self.maps[1]
        assert isinstance(final, nn.Conv2d)
        assert final.bias is not None
        with torch.no_grad():
            final.bias.copy_(torch.tensor([-4.0, -1, -1, 0, -4, -2, -1, 0]))

    def forward(self, x: Tensor) -> Tensor:
        _, c3, c4, c5 = self.backbone(x)
        p4 = self.smooth4(self.lat4(c4) + up(self.lat5(self.mixer(c5))))
        return self.maps(self.smooth3(self.lat3(c3) + up(p4)))
