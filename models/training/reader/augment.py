"""Augmentation on the GPU: crops of pairs → network input, keypoints, visibility, masks.

The renderer must not be what the network learns, so nothing of a picture is left certain: its
framing, its background, the colour of each athlete apart, its light, sharpness and noise.
"""

from __future__ import annotations

from collections.abc import Callable
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

    scale = torch.where(rand(n) < 0.25, 0.55 + 0.5 * rand(n), 1.05 + 0.6 * rand(n))
    centre = centre + (rand(n, 2) - 0.5) * 0.22 * long_side[:, None]
    angle = (rand(n) - 0.5) * 2 * np.radians(22) * (rand(n) < 0.6)
    angle = torch.where(rand(n) < 0.12, (rand(n) - 0.5) * 2 * np.pi, angle)
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


def cut_by_the_frame(batch: Batch) -> Batch:
    """Let three in ten pictures end inside the crop, as where the camera cuts a pair off."""
    n, device = len(batch.image), batch.image.device
    depth = torch.rand(n, 1, device=device) * 0.35 * (torch.rand(n, 1, device=device) < 0.3)
    side = F.one_hot(torch.randint(4, (n,), device=device), 4)
    low, high = depth * side[:, :2], 1 - depth * side[:, 2:]

    def kept(size: int) -> Tensor:
        at = (torch.arange(size, device=device) + 0.5) / size
        inside = (at >= low[..., None]) & (at < high[..., None])
        return (inside[:, 1, :, None] & inside[:, 0, None, :])[:, None]

    points = batch.keypoints / CROP
    there = ((points >= low[:, None, None]) & (points < high[:, None, None])).all(-1)
    return batch._replace(
        image=batch.image * kept(batch.image.shape[-1]),
        visible=torch.where(there, batch.visible, 0),
        masks=batch.masks * kept(batch.masks.shape[-1]),
    )


class Paints(NamedTuple):
    """What a batch is painted with, each (B, 3, S, S), 0–1: background and two patterns."""

    background: Tensor
    first: Tensor
    second: Tensor


def draw_paints(n: int, size: int, device: torch.device, photos: Tensor | None) -> Paints:
    """Draw smooth noise, and for most backgrounds crops of photographs where there are any."""
    background = _smooth_noise(n, size, device)
    if photos is not None:
        use = torch.rand(n, 1, 1, 1, device=device) < 0.7
        background = torch.where(use, _photo_crops(photos, n, size), background)
    return Paints(background, _smooth_noise(n, size, device), _smooth_noise(n, size, device))


def repaint(image: Tensor, labels: Tensor, paints: Paints) -> Tensor:
    """Exchange backgrounds and recolour each athlete apart, where the masks allow it."""
    n, size, device = len(image), image.shape[-1], image.device

    def one() -> Tensor:
        return torch.rand(n, 1, 1, 1, device=device)

    full = F.interpolate(labels[:, None].float(), size=(size, size), mode="nearest")
    weight = F.avg_pool2d((full == 0).float(), 3, 1, 1) * (one() < 0.25)
    image = image * (1 - weight) + paints.background * weight
    for label, noise in ((1, paints.first), (2, paints.second)):
        inside = F.avg_pool2d((full == label).float(), 3, 1, 1) * (one() < 0.4)
        gain = 0.55 + 0.9 * torch.rand(n, 3, 1, 1, device=device)
        offset = (torch.rand(n, 3, 1, 1, device=device) - 0.5) * 0.35
        pattern = 1 + (noise - 0.5) * 0.7 * one()
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
    straight = torch.eye(3, device=device)
    mix = straight + (rand(n, 3, 3) - 0.5) * 0.5 * (rand(n, 1, 1) < 0.6)
    mix = mix / mix.sum(2, keepdim=True).clamp(min=0.3)
    shuffled = straight[rand(n, 3).argsort(1)]
    mix = torch.where(rand(n, 1, 1) < 0.15, shuffled @ mix, mix)
    x = torch.einsum("bij,bjhw->bihw", mix, x)
    return x.clamp(0, 1).pow(torch.exp((one() - 0.5) * 1.0))


def restyle(x: Tensor, share: float) -> Tensor:
    """Convolve the first share of a batch with one random kernel, mixed with what it was.

    Texture changes, shape stays (Xu et al., *Robust and generalizable visual representation
    learning via random convolutions*, arXiv 2007.13003). Brightness and contrast are kept.
    """
    count = round(len(x) * share)
    if not count:
        return x
    side = int(np.random.choice([1, 3, 5, 7]))
    kernel = torch.randn(3, 3, side, side, device=x.device)
    plain = x[:count]
    other = F.conv2d(F.pad(plain, [side // 2] * 4, mode="reflect"), kernel)
    mean, spread = plain.mean((2, 3), keepdim=True), plain.std((2, 3), keepdim=True)
    other = other - other.mean((2, 3), keepdim=True)
    other = mean + spread * other / other.std((2, 3), keepdim=True).clamp(min=1e-4)
    kept = torch.rand(count, 1, 1, 1, device=x.device)
    return torch.cat([(kept * plain + (1 - kept) * other).clamp(0, 1), x[count:]])


def soften(x: Tensor) -> Tensor:
    """Add smooth texture; shrink or blur some batches."""
    n, size = len(x), x.shape[-1]
    if np.random.rand() < 0.4:
        strength = torch.rand(n, 1, 1, 1, device=x.device) * 0.3
        x = x + (_smooth_noise(n, size, x.device) - 0.5) * strength
    draw = np.random.rand()
    if draw < 0.3:
        small = int(np.random.choice([80, 96, 128, 160]))
        shrunk = F.interpolate(x, size=(small, small), mode="area")
        x = F.interpolate(shrunk, size=(size, size), mode="bilinear", align_corners=False)
    elif draw < 0.5:
        x = F.avg_pool2d(x, 3, 1, 1)
    return x


def cover(x: Tensor) -> Tensor:
    """Add noise and, to some pictures, up to three covering patches."""
    n, size, device = len(x), x.shape[-1], x.device
    x = x + torch.randn_like(x) * torch.rand(n, 1, 1, 1, device=device) * 0.06
    line = torch.arange(size, device=device)
    for _ in range(3):
        cx, cy = torch.rand(2, n, 1, device=device) * size
        w, h = torch.rand(2, n, 1, device=device) * size * 0.24
        across = (line[None] - cx).abs() < w / 2
        down = (line[None] - cy).abs() < h / 2
        chosen = torch.rand(n, 1, 1, 1, device=device) < 0.2
        patch = across[:, None, None, :] & down[:, None, :, None] & chosen
        x = torch.where(patch, torch.rand(n, 3, 1, 1, device=device), x)
    return x.clamp(0, 1)


def degrade(x: Tensor) -> Tensor:
    """Blur, shrink, add texture, noise and a few covering patches."""
    return cover(soften(x))


class Augment:
    """Turns stored crops (uint8) into training batches.

    Parameters
    ----------
    photos : Tensor (P, 3, H, W), uint8, optional
        Photographs for backgrounds.
    compiled : bool
        Compile the pixel work; pays on a GPU.
    restyled : float
        Share of pictures whose texture is changed.
    """

    def __init__(
        self, photos: Tensor | None = None, compiled: bool = False, restyled: float = 0.0
    ) -> None:
        self.photos, self.restyled = photos, restyled

        def wrap(work: Callable[..., Tensor]) -> Callable[..., Tensor]:
            return torch.compile(work, dynamic=False) if compiled else work

        self._repaint, self._recolour, self._cover = wrap(repaint), wrap(recolour), wrap(cover)

    def __call__(self, image: Tensor, labels: Tensor, keypoints: Tensor, visible: Tensor) -> Batch:
        """Frame, repaint, recolour and degrade a batch, each picture anew."""
        paints = draw_paints(len(image), image.shape[-1], image.device, self.photos)
        x = self._repaint(image.float() / 255, labels, paints)
        batch = take(x, labels, keypoints, visible, random_framing(keypoints, visible))
        batch = cut_by_the_frame(batch)
        image = restyle(self._recolour(batch.image), self.restyled)
        image = self._cover(soften(image))
        return batch._replace(image=image * 2 - 1)


def plain_batch(image: Tensor, labels: Tensor, keypoints: Tensor, visible: Tensor) -> Batch:
    """Frame a batch of stored crops (uint8) as at run time."""
    framing = plain_framing(keypoints, visible)
    batch = take(image.float() / 255, labels, keypoints, visible, framing)
    return batch._replace(image=batch.image * 2 - 1)
