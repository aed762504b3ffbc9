"""Augmentation on the GPU: crops of pairs → network input, keypoints, visibility, masks.

The renderer must not be what the network learns, so nothing of a picture is left certain: its
framing, its background, the colour of each athlete apart, its light, sharpness and noise.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import torch
import torch.nn.functional as F
from torch import Tensor

from models.training.reader.network import CROP, STRIDE
from pipeline.bodies.look import COCO_MIRROR

EVAL_SCALE = 1.25
"""Crop side over the long side of the pair, as at run time."""


class Batch(NamedTuple):
    """Network input and its truth.

    Attributes
    ----------
    image : Tensor (B, 3, 256, 256), float, in [-1, 1]
    keypoints : Tensor (B, 2, 17, 2), input pixels
    visible : Tensor (B, 2, 17), int: 2 visible, 1 hidden, 0 outside the crop
    masks : Tensor (B, 2, 64, 64), float 0–1
    """

    image: Tensor
    keypoints: Tensor
    visible: Tensor
    masks: Tensor


class Framing(NamedTuple):
    """Where the crop is taken: centre, side, rotation and mirror, one a picture."""

    centre: Tensor
    side: Tensor
    angle: Tensor
    mirror: Tensor


def pair_box(keypoints: Tensor, visible: Tensor) -> tuple[Tensor, Tensor]:
    """Return centre (B, 2) and long side (B,) of the keypoints inside the picture."""
    seen = (visible > 0).reshape(len(visible), 34, 1)
    points = keypoints.reshape(-1, 34, 2)
    low = points.where(seen, torch.inf).amin(1)
    high = points.where(seen, -torch.inf).amax(1)
    return (low + high) / 2, (high - low).amax(1).clamp(min=8.0)


def random_framing(keypoints: Tensor, visible: Tensor) -> Framing:
    """Draw a framing: mostly loose, some tight enough to cut limbs, some turned far."""
    centre, long_side = pair_box(keypoints, visible)
    n, device = len(centre), centre.device

    def rand(*shape: int) -> Tensor:
        return torch.rand(*shape, device=device)

    scale = torch.where(rand(n) < 0.15, 0.7 + 0.4 * rand(n), 1.05 + 0.6 * rand(n))
    centre = centre + (rand(n, 2) - 0.5) * 0.22 * long_side[:, None]
    angle = (rand(n) - 0.5) * 2 * np.radians(22) * (rand(n) < 0.6)
    angle = torch.where(rand(n) < 0.06, (rand(n) - 0.5) * 2 * np.pi, angle)
    mirror = torch.where(rand(n) < 0.5, -1.0, 1.0)
    return Framing(centre, long_side * scale, angle, mirror)


def plain_framing(keypoints: Tensor, visible: Tensor) -> Framing:
    """The framing used at run time."""
    centre, long_side = pair_box(keypoints, visible)
    return Framing(
        centre, long_side * EVAL_SCALE, torch.zeros_like(long_side), torch.ones_like(long_side)
    )


def take(
    image: Tensor, labels: Tensor, keypoints: Tensor, visible: Tensor, framing: Framing
) -> Batch:
    """Resample pictures, labels and keypoints to a framing.

    Parameters
    ----------
    image : Tensor (B, 3, S, S), float 0–1
    labels : Tensor (B, S / 2, S / 2), uint8: 0 none, 1 and 2 the athletes, 3 others
    keypoints : Tensor (B, 2, 17, 2), pixels of `image`
    visible : Tensor (B, 2, 17)
    framing : Framing
    """
    size = image.shape[-1]
    cos, sin = torch.cos(framing.angle), torch.sin(framing.angle)
    turn = (
        torch.stack(
            [
                torch.stack([cos * framing.mirror, -sin], 1),
                torch.stack([sin * framing.mirror, cos], 1),
            ],
            1,
        )
        * (framing.side / 2)[:, None, None]
    )
    shift = (framing.centre - size / 2) * (2 / size)
    theta = torch.cat([turn * (2 / size), shift[:, :, None]], 2)
    n = len(image)
    grid = F.affine_grid(theta, [n, 3, CROP, CROP], align_corners=False)
    out = F.grid_sample(image, grid, mode="bilinear", padding_mode="zeros", align_corners=False)
    side = CROP // STRIDE
    small = F.affine_grid(theta, [n, 2, side, side], align_corners=False)
    both = torch.stack([labels == 1, labels == 2], 1).float()
    masks = F.grid_sample(both, small, mode="bilinear", align_corners=False)

    points = keypoints.reshape(n, 34, 2) - framing.centre[:, None]
    points = torch.einsum("bij,bnj->bni", torch.linalg.inv(turn), points)
    points = ((points * 0.5 + 0.5) * CROP).reshape(n, 2, 17, 2)
    mirrored = (framing.mirror < 0)[:, None, None]
    points = torch.where(mirrored[..., None], points[:, :, COCO_MIRROR], points)
    visible = torch.where(mirrored, visible[:, :, COCO_MIRROR], visible)
    inside = ((points >= 0) & (points < CROP)).all(-1)
    return Batch(out, points, torch.where(inside, visible, 0), masks)


def _smooth_noise(n: int, size: int, device: torch.device) -> Tensor:
    cells = [int(c) for c in np.random.choice([3, 6, 12, 40, 96], 2)]
    noise = torch.rand(n, 3, *cells, device=device)
    return F.interpolate(noise, size=(size, size), mode="bilinear", align_corners=False)


def _photo_crops(photos: Tensor, n: int, size: int) -> Tensor:
    """Random crops, 0–1, of a bank of photographs (P, 3, H, W) uint8."""
    device = photos.device
    pick = torch.randint(len(photos), (n,), device=device)
    scale = 0.15 + 0.85 * torch.rand(n, device=device)
    shift = (torch.rand(n, 2, device=device) * 2 - 1) * (1 - scale)[:, None]
    zero = torch.zeros_like(scale)
    rows = [torch.stack([scale, zero, shift[:, 0]], 1), torch.stack([zero, scale, shift[:, 1]], 1)]
    grid = F.affine_grid(torch.stack(rows, 1), [n, 3, size, size], align_corners=False)
    return F.grid_sample(photos[pick].float() / 255, grid, align_corners=False)


def repaint(image: Tensor, labels: Tensor, photos: Tensor | None) -> Tensor:
    """Exchange backgrounds and recolour each athlete apart, where the masks allow it."""
    n, size, device = len(image), image.shape[-1], image.device
    full = F.interpolate(labels[:, None].float(), size=(size, size), mode="nearest")
    outside = F.avg_pool2d((full == 0).float(), 3, 1, 1)
    noise = _smooth_noise(n, size, device)
    if photos is not None:
        use = torch.rand(n, 1, 1, 1, device=device) < 0.7
        noise = torch.where(use, _photo_crops(photos, n, size), noise)
    weight = outside * (torch.rand(n, 1, 1, 1, device=device) < 0.25)
    image = image * (1 - weight) + noise * weight
    for label in (1, 2):
        inside = F.avg_pool2d((full == label).float(), 3, 1, 1)
        inside = inside * (torch.rand(n, 1, 1, 1, device=device) < 0.4)
        gain = 0.55 + 0.9 * torch.rand(n, 3, 1, 1, device=device)
        offset = (torch.rand(n, 3, 1, 1, device=device) - 0.5) * 0.35
        pattern = 1 + (_smooth_noise(n, size, device) - 0.5) * 0.7 * torch.rand(
            n, 1, 1, 1, device=device
        )
        image = image * (1 - inside) + (image * gain * pattern + offset) * inside
    return image.clamp(0, 1)


def recolour(x: Tensor) -> Tensor:
    """Change light, contrast, saturation, hue and gamma, each picture apart."""
    n, device = len(x), x.device

    def rand(*shape: int) -> Tensor:
        return torch.rand(*shape, device=device)

    def one() -> Tensor:
        return rand(n, 1, 1, 1)

    x = x * (0.55 + 0.9 * one()) + (one() - 0.5) * 0.3
    mean = x.mean((2, 3), keepdim=True)
    x = (x - mean) * (0.6 + 0.9 * one()) + mean
    grey = x.mean(1, keepdim=True)
    x = grey + (x - grey) * one() * 1.6
    mix = torch.eye(3, device=device) + (rand(n, 3, 3) - 0.5) * 0.5 * (rand(n, 1, 1) < 0.6)
    mix = mix / mix.sum(2, keepdim=True).clamp(min=0.3)
    x = torch.einsum("bij,bjhw->bihw", mix, x)
    if np.random.rand() < 0.15:
        x = x[:, torch.randperm(3, device=device)]
    return x.clamp(0, 1).pow(torch.exp((one() - 0.5) * 1.0))


def degrade(x: Tensor) -> Tensor:
    """Blur, shrink, add texture, noise and a few covering patches."""
    n, size, device = len(x), x.shape[-1], x.device

    def one() -> Tensor:
        return torch.rand(n, 1, 1, 1, device=device)

    if np.random.rand() < 0.4:
        x = x + (_smooth_noise(n, size, device) - 0.5) * one() * 0.3
    draw = np.random.rand()
    if draw < 0.3:
        small = int(np.random.choice([80, 96, 128, 160]))
        shrunk = F.interpolate(x, size=(small, small), mode="area")
        x = F.interpolate(shrunk, size=(size, size), mode="bilinear", align_corners=False)
    elif draw < 0.5:
        x = F.avg_pool2d(x, 3, 1, 1)
    x = x + torch.randn_like(x) * one() * 0.06
    line = torch.arange(size, device=device)
    for _ in range(np.random.randint(0, 4)):
        cx, cy = torch.rand(2, n, 1, device=device) * size
        w, h = torch.rand(2, n, 1, device=device) * size * 0.24
        across = (line[None] - cx).abs() < w / 2
        down = (line[None] - cy).abs() < h / 2
        patch = across[:, None, None, :] & down[:, None, :, None] & (one() < 0.4)
        x = torch.where(patch, torch.rand(n, 3, 1, 1, device=device), x)
    return x.clamp(0, 1)


def training_batch(
    image: Tensor, labels: Tensor, keypoints: Tensor, visible: Tensor, photos: Tensor | None
) -> Batch:
    """Augment a batch of stored crops (uint8) for training."""
    x = repaint(image.float() / 255, labels, photos)
    batch = take(x, labels, keypoints, visible, random_framing(keypoints, visible))
    return batch._replace(image=degrade(recolour(batch.image)) * 2 - 1)


def plain_batch(image: Tensor, labels: Tensor, keypoints: Tensor, visible: Tensor) -> Batch:
    """Frame a batch of stored crops (uint8) as at run time."""
    framing = plain_framing(keypoints, visible)
    batch = take(image.float() / 255, labels, keypoints, visible, framing)
    return batch._replace(image=batch.image * 2 - 1)
