"""Training of the finder: where in a whole frame is the pair."""

from __future__ import annotations

import math
import time
from pathlib import Path

import numpy as np
import torch
import torch.nn.functional as F
from torch import Tensor, nn
from torch.optim.swa_utils import AveragedModel, get_ema_multi_avg_fn

from models.training.reader.augment import degrade, recolour
from models.training.reader.data import Frames, load_frames
from models.training.reader.network import FINDER_STRIDE, FRAME, PairFinder
from models.training.reader.start import start_from
from models.training.reader.weights_file import save_weights

SIDE = FRAME // FINDER_STRIDE


def _boxes_to_grid(boxes: Tensor) -> tuple[Tensor, Tensor]:
    """Return centre (…, 2) in cells and log size (…, 2) as shares of the frame."""
    size = (boxes[..., 2:] - boxes[..., :2]).clamp(min=4)
    centre = (boxes[..., :2] + boxes[..., 2:]) / 2 / FINDER_STRIDE
    return centre, (size / FRAME).log()


def _peak(centre: Tensor, log_size: Tensor) -> Tensor:
    """Gaussian (…, 40, 40) around a centre, wider for larger boxes; 0 where NaN."""
    line = torch.arange(SIDE, device=centre.device) + 0.5
    sigma = (log_size.exp().amax(-1) * SIDE * 0.07).clamp(min=0.8)[..., None, None]
    dx = (line[None, :] - centre[..., 0, None, None]) ** 2
    dy = (line[:, None] - centre[..., 1, None, None]) ** 2
    return torch.exp(-(dx + dy) / (2 * sigma**2)).nan_to_num(0.0)


def _move(frames: Frames, pick: Tensor) -> tuple[Tensor, Tensor, Tensor]:
    """Mirror, shift and scale frames: image 0–1 and moved boxes."""
    n, device = len(pick), pick.device
    scale = torch.exp((torch.rand(n, device=device) - 0.35) * 1.6)  # 0.57–2.8: mostly smaller
    mirror = torch.where(torch.rand(n, device=device) < 0.5, -1.0, 1.0)
    shift = (torch.rand(n, 2, device=device) - 0.5) * 0.7 * (scale[:, None] - 1).abs()
    pair = frames.pair[pick]
    zero = torch.zeros(n, device=device)
    theta = torch.stack(
        [
            torch.stack([scale * mirror, zero, shift[:, 0]], 1),
            torch.stack([zero, scale, shift[:, 1]], 1),
        ],
        1,
    )
    grid = F.affine_grid(theta, [n, 3, FRAME, FRAME], align_corners=False)
    image = frames.image[pick].float() / 255
    mode = "zeros" if np.random.rand() < 0.5 else "border"
    moved = F.grid_sample(image, grid, padding_mode=mode, align_corners=False)

    def boxes(b: Tensor) -> Tensor:
        extra = b.dim() - 2
        u = b / (FRAME / 2) - 1
        sx = (scale * mirror).reshape(-1, *[1] * (extra + 1))
        sy = scale.reshape(-1, *[1] * (extra + 1))
        tx = shift[:, 0].reshape(-1, *[1] * (extra + 1))
        ty = shift[:, 1].reshape(-1, *[1] * (extra + 1))
        x = ((u[..., 0::2] - tx) / sx + 1) * (FRAME / 2)
        y = ((u[..., 1::2] - ty) / sy + 1) * (FRAME / 2)
        return torch.stack([x.amin(-1), y.amin(-1), x.amax(-1), y.amax(-1)], -1)

    return moved, boxes(pair), boxes(frames.others[pick])


def find_loss(maps: Tensor, pair: Tensor, engaged: Tensor, others: Tensor) -> Tensor:
    """Loss of the finder: centres as peaks, sizes and engagement read at the centre."""
    maps = maps.float()
    centre, log_size = _boxes_to_grid(pair)
    inside = ((centre > 0) & (centre < SIDE)).all(1)
    target = _peak(centre, log_size) * inside[:, None, None]
    others_centre, others_size = _boxes_to_grid(others)
    others_target = _peak(others_centre, others_size).amax(1)
    centre_loss = _focal(maps[:, 0], target) + 0.3 * _focal(maps[:, 4], others_target)
    cell = centre.long().clamp(0, SIDE - 1)
    rows = torch.arange(len(maps), device=maps.device)
    here = maps[rows, :, cell[:, 1], cell[:, 0]]
    near = target > 0.6  # cells around the centre must know the size as well
    predicted = maps[:, 1:3]
    wanted = log_size[:, :, None, None].expand_as(predicted)
    size_map = (F.smooth_l1_loss(predicted, wanted, reduction="none", beta=0.1).mean(1) * near).sum(
        (1, 2)
    ) / near.sum((1, 2)).clamp(min=1)
    engaged_loss = F.binary_cross_entropy_with_logits(here[:, 3], engaged, reduction="none")
    return centre_loss + 2 * (size_map * inside).mean() + 0.1 * (engaged_loss * inside).mean()


def _focal(logits: Tensor, target: Tensor) -> Tensor:
    """Peak loss of CornerNet (arXiv 1808.01244, equation 1)."""
    p = logits.sigmoid().clamp(1e-4, 1 - 1e-4)
    peak = (target > 0.98).float()
    hit = -((1 - p) ** 2) * p.log() * peak
    miss = -((1 - target) ** 4) * p**2 * (1 - p).log() * (1 - peak)
    return (hit + miss).sum() / peak.sum().clamp(min=1)


def boxes_from(maps: Tensor) -> tuple[Tensor, Tensor]:
    """Best box of each frame: (N, 4) letterboxed pixels and score (N,)."""
    score, at = maps[:, 0].float().sigmoid().flatten(1).max(1)
    y, x = at // SIDE, at % SIDE
    rows = torch.arange(len(maps), device=maps.device)
    size = maps[rows, 1:3, y, x].float().clamp(-6, 0.2).exp() * FRAME
    centre = torch.stack([x + 0.5, y + 0.5], 1) * FINDER_STRIDE
    return torch.cat([centre - size / 2, centre + size / 2], 1), score


def overlap(a: Tensor, b: Tensor) -> Tensor:
    """Intersection over union of boxes (N, 4)."""
    low, high = torch.maximum(a[:, :2], b[:, :2]), torch.minimum(a[:, 2:], b[:, 2:])
    shared = (high - low).clamp(min=0).prod(1)
    area = (a[:, 2:] - a[:, :2]).prod(1) + (b[:, 2:] - b[:, :2]).prod(1)
    return shared / (area - shared).clamp(min=1e-6)


def measure(net: nn.Module, frames: Frames, size: int = 200) -> dict[str, float]:
    """Share of frames whose best box overlaps the pair's by half, and the mean overlap."""
    net.eval()
    found = []
    with torch.no_grad():
        for start in range(0, len(frames.image), size):
            x = frames.image[start : start + size].float() / 127.5 - 1
            boxes, _ = boxes_from(net(x))
            found.append(overlap(boxes, frames.pair[start : start + size]))
    net.train()
    iou = torch.cat(found)
    return {
        "found": round(float((iou > 0.5).float().mean()), 4),
        "overlap": round(float(iou.mean()), 4),
    }


def train_finder(
    shards: list[Path],
    held_out: list[Path],
    initial: Path | None,
    out: Path,
    minutes: float,
    most: int = 30_000,
    batch: int = 96,
    device: torch.device | None = None,
) -> dict[str, float]:
    """Train the finder for some minutes; write ``pair_finder.npz``; return what it reaches."""
    device = device or torch.device("cuda" if torch.cuda.is_available() else "cpu")
    out.mkdir(parents=True, exist_ok=True)
    frames = load_frames(shards, device, most)
    check = load_frames(held_out, device, 2000)
    net = PairFinder()
    net = net.to(device).to(memory_format=torch.channels_last)  # type: ignore[call-overload]
    if initial is not None:

        def sample() -> Tensor:
            image, _, _ = _move(frames, torch.randint(len(frames.image), (256,), device=device))
            return degrade(recolour(image)) * 2 - 1

        start_from(net, initial, sample)
    average = AveragedModel(net, multi_avg_fn=get_ema_multi_avg_fn(0.997), use_buffers=True)
    optimizer = torch.optim.AdamW(net.parameters(), lr=1e-3, weight_decay=1e-2)
    begun, step, share = time.monotonic(), 0, 0.0
    while share < 1:
        share = (time.monotonic() - begun) / (minutes * 60)
        rate = 8e-4 * min(1, (step + 1) / 100) * (0.5 * (1 + math.cos(math.pi * min(share, 1))))
        optimizer.param_groups[0]["lr"] = rate + 1e-6
        pick = torch.randint(len(frames.image), (batch,), device=device)
        image, pair, others = _move(frames, pick)
        image = degrade(recolour(image)) * 2 - 1
        with torch.autocast(device.type, torch.bfloat16, device.type == "cuda"):
            maps = net(image.contiguous(memory_format=torch.channels_last))
        loss = find_loss(maps, pair, frames.engaged[pick], others)
        optimizer.zero_grad(set_to_none=True)
        loss.backward()
        nn.utils.clip_grad_norm_(net.parameters(), 5.0)
        optimizer.step()
        average.update_parameters(net)
        step += 1
        if step % 250 == 0:
            print(f"finder step {step}  {time.monotonic() - begun:.0f} s  loss {float(loss):.3f}")
    figures = measure(average.module, check)
    print(f"finder held out: {figures}", flush=True)
    facts = {"steps": step, "batch": batch, "minutes": minutes, "held_out": figures}
    save_weights(average.module, out / "pair_finder.npz", facts)
    return figures
