"""Seeing pairs through random cameras and an erring reader, in PyTorch: millions of views a minute.

The same kinds of cameras and errors as `models.training.scenes.camera`, `views` and `misread` draw
for bouts; here for a batch of windows at once, on a GPU.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import torch
from torch import Tensor

from models.training.scenes.misread import (
    CROP_SCALE,
    LASTING_S,
    LEFT_RIGHT,
    TOGETHER,
    WRONG,
    table,
)
from models.training.scenes.views import DEPTH_M, LIMBS
from pipeline.positions.windows import GRID_S


@dataclass(frozen=True)
class Seen:
    """A batch of windows as seen.

    Attributes
    ----------
    points : Tensor, (B, T, 2, 17, 2)
        Picture coordinates, y down, any scale; NaN = not seen.
    confidence : Tensor, (B, T, 2, 17)
    space : Tensor, (B, T, 2, 17, 3)
        The truth in trunk lengths: right and away as the camera looks, from the pair's middle;
        height over the mat.
    """

    points: Tensor
    confidence: Tensor
    space: Tensor


def see(world: Tensor) -> Seen:
    """Photograph windows (B, T, 2, 17, 3) in metres, each with a camera and a reader of its own."""
    eye, frame, roll = _cameras(world)
    hidden = _hidden(eye, world)
    exact = torch.rand(len(world), 1, 1, 1, device=world.device) < 0.5
    noise_m = torch.rand_like(exact, dtype=torch.float32) * 0.08 * ~exact
    worse = 1 + 1.5 * torch.rand_like(noise_m)
    spread = noise_m * torch.where(hidden, worse, torch.ones_like(worse))
    wrong = world + spread[..., None] * _partly_lasting(world)
    pixels = _project(eye, frame, roll, wrong)
    read, confidence = _misread(pixels, hidden, exact)
    read, confidence = _missing(read, confidence, hidden)
    return Seen(read, confidence, in_space(world, frame))


def in_space(world: Tensor, frame: Tensor) -> Tensor:
    """Return windows as the lift tells them (see `Seen.space`); `frame`: camera axes (B, 3, 3)."""
    level = frame[:, 0].clone()
    level[:, 2] = 0
    right = level / level.norm(dim=-1, keepdim=True)
    away = torch.stack([-right[:, 1], right[:, 0], torch.zeros_like(right[:, 0])], -1)
    trunks = world[..., (5, 6, 11, 12), :].mean(dim=(-3, -2))
    local = world - (trunks * world.new_tensor([1.0, 1.0, 0.0]))[:, :, None, None]
    up = torch.zeros_like(right)
    up[:, 2] = 1
    axes = torch.stack([right, away, up], 1)
    return torch.einsum("btpka,bca->btpkc", local, axes) / true_trunk(world)


def true_trunk(world: Tensor) -> Tensor:
    """Return the geometric mean of both trunks, metres, (B, 1, 1, 1, 1)."""
    trunk = world[..., (5, 6), :].mean(-2) - world[..., (11, 12), :].mean(-2)
    length = trunk.norm(dim=-1).clamp(min=0.2).mean(1)
    return length.prod(-1).sqrt()[:, None, None, None, None]


def _cameras(world: Tensor) -> tuple[Tensor, Tensor, Tensor]:
    """Eyes (B, 3), axes right, down, ahead (B, 3, 3), and roll (B,) in radians."""
    count, device = len(world), world.device

    def uniform(low: float, high: float) -> Tensor:
        return low + (high - low) * torch.rand(count, device=device)

    kinds = torch.tensor([0.16, 0.40, 0.26, 0.12, 0.06], device=device)
    where = torch.multinomial(kinds, count, replacement=True)
    elevation = torch.stack(
        [uniform(-2, 8), uniform(6, 28), uniform(15, 45), uniform(20, 40), uniform(55, 86)]
    ).gather(0, where[None])[0]
    nearest = torch.tensor([1.8, 1.6, 2.0, 6.0, 1.8], device=device)[where]
    gamma = torch.distributions.Gamma(2.0, 1.0).sample((count,)).to(device)
    distance = nearest + gamma * torch.where(where < 3, 1.1, 1.6)
    e, azimuth = torch.deg2rad(elevation), uniform(0, 2 * np.pi)
    towards = torch.stack([azimuth.cos() * e.cos(), azimuth.sin() * e.cos(), e.sin()], -1)
    centre = world.mean(dim=(1, 2, 3))
    eye = centre + distance[:, None] * towards
    eye[:, 2] = eye[:, 2].clamp(0.12, 5.5)
    target = centre + 0.2 * torch.randn(count, 3, device=device)
    ahead = torch.nn.functional.normalize(target - eye, dim=-1)
    up = torch.zeros_like(ahead)
    up[:, 2] = 1
    right = torch.nn.functional.normalize(torch.linalg.cross(ahead, up), dim=-1)
    down = torch.linalg.cross(ahead, right)
    roll = torch.where(
        uniform(0, 1) < 0.75, 2 * torch.randn(count, device=device), uniform(-15, 15)
    )
    return eye, torch.stack([right, down, ahead], 1), torch.deg2rad(roll)


def _project(eye: Tensor, frame: Tensor, roll: Tensor, world: Tensor) -> Tensor:
    local = torch.einsum("btpka,bca->btpkc", world - eye[:, None, None, None], frame)
    flat = local[..., :2] / local[..., 2:].clamp(min=0.3)
    sway = 0.01 * torch.randn(1, device=world.device)
    angle = roll[:, None] + sway * torch.linspace(-1, 1, world.shape[1], device=world.device)
    c, s = angle.cos()[:, :, None, None], angle.sin()[:, :, None, None]
    x, y = flat.unbind(-1)
    return torch.stack([c * x - s * y, s * x + c * y], -1)


def _balls(world: Tensor) -> Tensor:
    """Spheres that fill both bodies, by their keypoints: (..., S, 4) over both athletes."""
    parts = []

    def add(centres: Tensor, radius: float) -> None:
        parts.append(torch.cat([centres, torch.full_like(centres[..., :1], radius)], -1))

    shares = torch.linspace(0, 1, 5, device=world.device)[:, None]

    def between(a: Tensor, b: Tensor) -> Tensor:
        return a[..., None, :] + shares * (b - a)[..., None, :]

    for first, last, radius in LIMBS:
        add(between(world[..., first, :], world[..., last, :]), radius)
    for share in (0.25, 0.5, 0.75):
        top = world[..., 5, :] + share * (world[..., 6, :] - world[..., 5, :])
        seat = world[..., 11, :] + share * (world[..., 12, :] - world[..., 11, :])
        add(between(top, seat), 0.1)
    add(world[..., 3:5, :].mean(-2, keepdim=True), 0.1)
    return torch.cat(parts, -2).flatten(-3, -2)


def _hidden(eye: Tensor, world: Tensor) -> Tensor:
    """Whether a ball is in front of each keypoint, (B, T, 2, 17); judged at every third sample."""
    some = world[:, ::3]
    balls = _balls(some)
    start = eye[:, None, None]
    points = some.flatten(2, 3)
    ray = points - start
    length = ray.norm(dim=-1)
    towards = ray / length[..., None]
    centre = balls[..., :3] - start
    along = torch.einsum("btpa,btsa->btps", towards, centre)
    inside = balls[..., None, :, 3] ** 2 - (centre.square().sum(-1)[..., None, :] - along**2)
    slack = torch.tensor(DEPTH_M, dtype=torch.float32, device=world.device).repeat(2) + 0.02
    enters = along - inside.clamp(min=0).sqrt()
    hidden = ((inside > 0) & (enters < (length - slack)[..., None])).any(-1)
    hidden = hidden.repeat_interleave(3, dim=1)[:, : world.shape[1]]
    return hidden.unflatten(-1, (2, 17))


def _lasting(like: Tensor, lasting_s: float = LASTING_S) -> Tensor:
    """Unit noise of a tensor's shape that lasts a while along the second axis."""
    noise = torch.randn_like(like)
    keep = float(np.exp(-GRID_S / lasting_s))
    index = torch.arange(like.shape[1], device=like.device)
    power = index[:, None] - index[None]
    new = torch.full((like.shape[1],), (1 - keep**2) ** 0.5, device=like.device)
    new[0] = 1.0
    mix = torch.where(power >= 0, keep ** power.clamp(min=0) * new, 0.0)
    return torch.einsum("st,bt...->bs...", mix, noise)


def _partly_lasting(like: Tensor) -> Tensor:
    return 0.5**0.5 * (_lasting(like) + torch.randn_like(like))


def _together(like: Tensor) -> Tensor:
    """Uniform numbers (B, T, 2, 17) that last a while and go together within a body."""
    body = _lasting(like[..., :1])
    return torch.special.ndtr((1 - TOGETHER) ** 0.5 * _lasting(like) + TOGETHER**0.5 * body)


def _misread(pixels: Tensor, hidden: Tensor, as_measured: Tensor) -> tuple[Tensor, Tensor]:
    """Lay the pair reader's measured errors over some windows; confidence for all."""
    known = {
        name: torch.tensor(values, dtype=torch.float32, device=pixels.device)
        for name, values in vars(table()).items()
    }
    of = {name: torch.where(hidden, values[1], values[0]) for name, values in known.items()}
    low, high = pixels.flatten(2, 3).amin(2), pixels.flatten(2, 3).amax(2)
    side = CROP_SCALE * (high - low).amax(-1)[..., None, None]
    severity = torch.exp(torch.empty_like(as_measured, dtype=torch.float32).uniform_(-0.7, 0.9))
    odds = severity * of["wrong"] / (1 - of["wrong"])
    like = of["wrong"]
    wrong = (_together(like) < odds / (1 + odds)) & as_measured
    which = _together(like)
    offset = torch.special.ndtr(_lasting(pixels))
    far = WRONG - of["far_mean"] * torch.log1p(-offset[..., 0].clamp(0, 1 - 1e-6))
    angle = 2 * np.pi * offset[..., 1]
    astray = pixels + (far * side)[..., None] * torch.stack([angle.cos(), angle.sin()], -1)
    to_other = wrong & (which < of["other"])
    to_side = wrong & ~to_other & (which < of["other"] + of["sides"])
    base = torch.where(wrong[..., None], astray, pixels)
    base = torch.where(to_other[..., None], pixels.flip(2), base)
    base = torch.where(to_side[..., None], pixels[..., LEFT_RIGHT, :], base)
    near = (of["near_sd"] * side * as_measured)[..., None]
    base = base + near * _partly_lasting(pixels)
    mean = torch.where(wrong, of["wrong_mean"], of["right_mean"])
    sd = torch.where(wrong, of["wrong_sd"], of["right_sd"])
    told = (mean + sd * _partly_lasting(mean)).clamp(0.02, 0.99)
    plain = torch.rand(len(pixels), 1, 1, 1, device=pixels.device) < 0.25
    return base, torch.where(plain, torch.full_like(told, 0.9), told)


def _missing(read: Tensor, confidence: Tensor, hidden: Tensor) -> tuple[Tensor, Tensor]:
    """Leave keypoints out; at times what an edge of the picture cuts off; sides exchanged."""
    count, device = len(read), read.device
    odds = torch.rand(count, 1, 1, 1, device=device)
    chance = torch.where(hidden, 0.4 * odds, 0.08 * odds)
    chance = chance * (torch.rand(count, 1, 1, 1, device=device) < 0.4)
    gone = torch.rand_like(confidence) < chance
    edge = torch.rand(count, device=device) < 0.08
    axis = torch.nn.functional.normalize(torch.randn(count, 2, device=device), dim=-1)
    reach = torch.einsum("btpka,ba->btpk", read, axis)
    limit = torch.quantile(reach.flatten(1), 0.75 + 0.2 * float(torch.rand(1)), dim=1)
    gone |= edge[:, None, None, None] & (reach > limit[:, None, None, None])
    turned = torch.rand(*read.shape[:3], device=device) < 0.03 * odds[..., 0]
    read = torch.where(turned[..., None, None], read[..., LEFT_RIGHT, :], read)
    read = torch.where(gone[..., None], torch.nan, read)
    return read, torch.where(gone, 0.0, confidence)


def other_bodies(world: Tensor) -> Tensor:
    """Give each athlete of a window other proportions, about the same pose.

    Parameters
    ----------
    world : Tensor, (B, T, 2, 17, 3)

    Returns
    -------
    Tensor, (B, T, 2, 17, 3)
        Bones longer or shorter, hips and shoulders wider or narrower; on the mat as before.
    """
    count = len(world)

    def factor(spread: float) -> Tensor:
        return torch.exp(spread * torch.randn(count, 1, 2, 1, 1, device=world.device))

    hip, shoulder = (world[..., pair, :].mean(-2, keepdim=True) for pair in ((11, 12), (5, 6)))
    out = world.clone()
    wider, broader, longer = factor(0.15), factor(0.10), factor(0.06)
    root = hip + longer * (shoulder - hip)
    out[..., (11, 12), :] = hip + wider * (world[..., (11, 12), :] - hip)
    out[..., (5, 6), :] = root + broader * (world[..., (5, 6), :] - shoulder)
    out[..., :5, :] = root + factor(0.08) * (world[..., :5, :] - shoulder)
    for parents, children in (((5, 6), (7, 8)), ((7, 8), (9, 10)), ((11, 12), (13, 14)),
                              ((13, 14), (15, 16))):  # fmt: skip
        bone = world[..., children, :] - world[..., parents, :]
        out[..., children, :] = out[..., parents, :] + factor(0.07) * bone
    rise = (world[..., 2].amin(-1) - out[..., 2].amin(-1)).amin(-1)
    out[..., 2] += rise[..., None, None]
    return out
