"""Makes a motion possible: out of each other, on the mat, planted feet still.

All key poses of a bout are solved at once by Adam on their joint angles and roots, starting from
the interpolated motion and staying near it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import torch
from torch import Tensor

from .body import HIGH, LOW
from .motion import Motion, People
from .rig import Rig, Selection, turn_by

PLANTED_M = 0.025
"""A foot or knee this near to the mat in a hold is planted."""
PLANTS = (
    "heel.L", "sole.L", "toe.L", "shank.L.0",
    "heel.R", "sole.R", "toe.R", "shank.R.0",
)  # fmt: skip
"""Spheres that stay where they are planted: feet and knees."""


@dataclass(frozen=True)
class SettleSettings:
    """Weights of the terms (metres and radians, squared) and the search.

    Attributes
    ----------
    steps : int
        Of Adam; the last 30 % at a third of the rate.
    rate : float
        Radians a step for joints; half for the pelvis' turn, a third (metres) for its place.
    cloth : float
        Gap kept between the bodies' spheres, metres.
    mat_gives : float
        How far a sphere may sink into the mat, metres.
    apart, mat, support, planted : float
        Penetration of the other; of the mat; lowest point off the mat; feet and knees astray.
    joints, place, turn : float
        Distance from the interpolated motion; its change from key to key counts ``smooth`` times.
    """

    steps: int = 70
    rate: float = 0.03
    cloth: float = 0.006
    mat_gives: float = 0.008
    apart: float = 100.0
    mat: float = 200.0
    support: float = 300.0
    planted: float = 200.0
    joints: float = 0.08
    place: float = 1.0
    turn: float = 0.3
    smooth: float = 5.0


@dataclass(frozen=True)
class _Plants:
    """Where planted spheres have to be, and who rests on the mat.

    ``rows`` (P,), ``target`` (2 K, P, 3), ``weight`` (2 K, P); ``resting`` (2, K) is 1 for a body
    whose lowest point belongs on the mat.
    """

    rows: Tensor
    target: Tensor
    weight: Tensor
    resting: Tensor


def settle(people: People, motion: Motion, settings: SettleSettings = SettleSettings()) -> Motion:
    """Solve all key poses together.

    Parameters
    ----------
    people : two Person
    motion : Motion
        As from `motion.key_poses`.
    settings : SettleSettings

    Returns
    -------
    Motion
        Same times.
    """
    keys = len(motion.times)
    bodies = Rig(people).select(torch.tensor([0] * keys + [1] * keys))

    def tensor(array: np.ndarray) -> Tensor:
        return torch.as_tensor(np.concatenate([array[:, 0], array[:, 1]]), dtype=torch.float32)

    low, high = torch.as_tensor(LOW), torch.as_tensor(HIGH)
    start = tensor(motion.joints).clamp(low, high)
    rotation, place = tensor(motion.rotation), tensor(motion.translation)
    with torch.no_grad():
        plants = _plants(bodies, motion, bodies.pose(start, rotation, place).centre)
    joints = start.clone().requires_grad_()
    # A rotation vector of exactly 0 has no gradient.
    turn = torch.full_like(place, 1e-4).requires_grad_()
    move = torch.zeros_like(place).requires_grad_()
    variables = ((joints, 1.0), (turn, 0.5), (move, 0.33))
    adam = torch.optim.Adam([{"params": [v], "lr": settings.rate * k} for v, k in variables])
    for step in range(settings.steps):
        if step == int(0.7 * settings.steps):
            for group in adam.param_groups:
                group["lr"] *= 0.3
        centre = bodies.pose(joints, turn_by(turn) @ rotation, place + move).centre
        loss = _world_loss(centre, bodies, plants, settings)
        for change, weight in (
            (joints - start, settings.joints),
            (move, settings.place),
            (turn, settings.turn),
        ):
            steps = change.unflatten(0, (2, keys)).diff(dim=1)
            loss = loss + weight * change.square().sum()
            loss = loss + weight * settings.smooth * steps.square().sum()
        adam.zero_grad()
        loss.backward()
        adam.step()
        with torch.no_grad():
            joints.copy_(joints.clamp(low, high))

    def array(solved: Tensor) -> np.ndarray:
        return np.swapaxes(solved.detach().numpy().reshape(2, keys, *solved.shape[1:]), 0, 1)

    return replace(
        motion,
        joints=array(joints),
        rotation=array(turn_by(turn) @ rotation),
        translation=array(place + move),
    )


def _world_loss(
    centre: Tensor, bodies: Selection, plants: _Plants, settings: SettleSettings
) -> Tensor:
    """What the other body, the mat and planted feet say; summed over key poses."""
    half = len(centre) // 2
    gap = torch.cdist(centre[:half], centre[half:], compute_mode="donot_use_mm_for_euclid_dist")
    reach = bodies.radius[:half, :, None] + bodies.radius[half:, None] + settings.cloth
    clearance = centre[..., 2] - bodies.radius
    lowest = clearance.amin(dim=1).unflatten(0, (2, half))
    floating = lowest.amin(dim=0).clamp(min=0).square().sum()
    floating = floating + (plants.resting * lowest.clamp(min=0).square()).sum()
    astray = (centre[:, plants.rows] - plants.target).square().sum(-1)
    return (
        settings.apart * (reach - gap).clamp(min=0).square().sum()
        + settings.mat * (-settings.mat_gives - clearance).clamp(min=0).square().sum()
        + settings.support * floating
        + settings.planted * (plants.weight * astray).sum()
    )


def _plants(bodies: Selection, motion: Motion, centre: Tensor) -> _Plants:
    """Find what is planted, and where it has to be.

    What is planted in a hold stays where the hold begins. What is planted before and after an
    approach steps: it stays, lifts off, travels through the air, and stays again.
    """
    keys = len(motion.times)
    rows = torch.tensor([bodies.rig.names.index(name) for name in PLANTS])
    at = centre[:, rows].unflatten(0, (2, keys))
    radius = bodies.radius[:, rows].unflatten(0, (2, keys))[:, 0]
    target, weight = at.clone(), torch.zeros(at.shape[:3])
    lowest = (centre[..., 2] - bodies.radius).amin(dim=1).unflatten(0, (2, keys))
    resting, rests = torch.zeros(2, keys), {}
    hold = torch.as_tensor(motion.hold)
    phase = torch.as_tensor(motion.phase, dtype=torch.float32)
    rest: dict[int, Tensor] = {}
    down: dict[int, Tensor] = {}
    for h in sorted(set(motion.hold.tolist())):
        held = torch.nonzero((hold == h) & (phase == 1)).flatten()
        first = at[:, held[0]]
        down[h] = first[..., 2] - radius < PLANTED_M
        rest[h] = torch.cat([first[..., :2], radius[..., None]], -1)
        target[:, held] = rest[h][:, None]
        weight[:, held] = down[h].float()[:, None]
        rests[h] = lowest[:, held[0]] < PLANTED_M
        resting[:, held] = rests[h].float()[:, None]
        coming = torch.nonzero((hold == h) & (phase < 1)).flatten()
        if not len(coming):
            continue
        share = ((phase[coming] - 0.2) / 0.6).clamp(0, 1)[None, :, None]
        both = (down[h] & down[h - 1])[:, None]
        leaving = (down[h - 1] & ~down[h])[:, None] & (share == 0)
        arriving = (down[h] & ~down[h - 1])[:, None] & (share == 1)
        step = _step(rest[h - 1], rest[h], share)
        target[:, coming] = torch.where(
            (both | leaving | arriving)[..., None], step, target[:, coming]
        )
        weight[:, coming] = (both | leaving | arriving).float()
        resting[:, coming] = (rests[h] & rests[h - 1]).float()[:, None]
    return _Plants(rows, target.flatten(0, 1), weight.flatten(0, 1), resting)


def _step(before: Tensor, after: Tensor, share: Tensor) -> Tensor:
    """A step from place to place (2, P, 3) at shares (1, N, 1): up to 10 cm high."""
    way = (after - before)[:, None]
    lift = (0.3 * way[..., :2].norm(dim=-1)).clamp(max=0.10) * torch.sin(torch.pi * share)
    path = before[:, None] + share[..., None] * way
    return torch.cat([path[..., :2], path[..., 2:] + lift[..., None]], -1)
