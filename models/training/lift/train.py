"""Training of the lift on a GPU: windows drawn, seen and learned from without leaving it."""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
import torch
from torch import Tensor

from models.training.lift.material import UNNAMED, Film, Poses
from models.training.lift.network import PairLift
from models.training.lift.views import other_bodies, see
from models.training.scenes.misread import LEFT_RIGHT
from pipeline.positions.states import STATES
from pipeline.timeline import coarse
from pipeline.timeline.states import EXCHANGED


@dataclass(frozen=True)
class Recipe:
    """What training does.

    Attributes
    ----------
    minutes : float
        The rate falls to nothing by then.
    batch, samples : int
        Windows a step; samples (0.2 s) a window.
    rate, decay : float
        Of AdamW.
    width : int
    moving, changing : float
        Shares of windows from bouts, and of those that go from one still pair to another.
    space : float
        Weight of the keypoints in space; of the state 1.
    seed : int
    """

    minutes: float = 4.0
    batch: int = 768
    samples: int = 15
    rate: float = 1.5e-3
    decay: float = 0.02
    width: int = 320
    moving: float = 0.25
    changing: float = 0.25
    space: float = 2.0
    smoothing: float = 0.05
    seed: int = 0


class Draw:
    """Draws windows: pairs held still, on the way to another pair, or of a bout.

    Positions are drawn evenly up to a square root, then families evenly, then pairs.
    """

    def __init__(self, poses: Poses, film: Film | None, recipe: Recipe, device: torch.device):
        self._recipe, self._device = recipe, device
        self._world = torch.as_tensor(poses.world, device=device)
        self._state = torch.as_tensor(poses.state, device=device)
        self._weights = torch.as_tensor(balanced(poses), dtype=torch.float32, device=device)
        self._exchange = torch.tensor(EXCHANGED, device=device)
        self._film = None
        if film is not None and len(film.state):
            self._film = torch.as_tensor(film.world, device=device)
            self._film_state = torch.as_tensor(film.state, device=device)
            span = 2 * (recipe.samples - 1) + 1
            starts = [
                np.arange(a, b - span)
                for a, b in zip(film.starts[:-1], film.starts[1:], strict=True)
                if b - a > span
            ]
            self._film_starts = torch.as_tensor(np.concatenate(starts), device=device)

    def windows(self) -> tuple[Tensor, Tensor]:
        """Return windows (B, T, 2, 17, 3) in metres and their states (B, T)."""
        recipe = self._recipe
        moving = int(recipe.batch * recipe.moving) if self._film is not None else 0
        changing = int(recipe.batch * recipe.changing)
        parts = [self._still(recipe.batch - moving - changing), self._changing(changing)]
        if moving:
            parts.append(self._moving(moving))
        world, state = (torch.cat(part) for part in zip(*parts, strict=True))
        return self._either_way(other_bodies(world), state)

    def _pick(self, count: int) -> Tensor:
        return torch.multinomial(self._weights, count, replacement=True)

    def _still(self, count: int) -> tuple[Tensor, Tensor]:
        rows = self._pick(count)
        span = self._recipe.samples
        world = self._world[rows][:, None].expand(-1, span, -1, -1, -1)
        return self._alive(world), self._state[rows][:, None].expand(-1, span)

    def _alive(self, world: Tensor) -> Tensor:
        """Breathe and shift weight: each keypoint drifts by a centimetre or two."""
        count, span, device = len(world), world.shape[1], world.device
        time_s = 0.2 * torch.arange(span, device=device)[None, :, None, None, None]
        shape = (count, 1, 2, 17, 3)
        speed = 2 * np.pi * (0.1 + 0.6 * torch.rand(shape, device=device))
        phase = 2 * np.pi * torch.rand(shape, device=device)
        size = 0.03 * torch.rand(count, 1, 1, 1, 1, device=device)
        return world + size * torch.sin(speed * time_s + phase)

    def _changing(self, count: int) -> tuple[Tensor, Tensor]:
        first, last = self._pick(count), self._pick(count)
        a, b = self._world[first], self._world[last]
        state_b = self._state[last]
        flip = torch.rand(count, device=a.device) < 0.3
        b = torch.where(flip[:, None, None, None], b.flip(1), b)
        exchanged = torch.where(state_b >= 0, self._exchange[state_b.clamp(min=0)], state_b)
        state_b = torch.where(flip, exchanged, state_b)
        b = _laid_on(b, a)
        span = self._recipe.samples
        begin = torch.rand(count, 1, device=a.device) * span
        length = 2 + 8 * torch.rand(count, 1, device=a.device)
        share = ((torch.arange(span, device=a.device)[None] - begin) / length).clamp(0, 1)
        ease = (share * share * (3 - 2 * share))[..., None, None, None]
        world = a[:, None] + ease * (b - a)[:, None]
        state = torch.where(share < 0.6, self._state[first][:, None], state_b[:, None])
        return self._alive(world), state

    def _moving(self, count: int) -> tuple[Tensor, Tensor]:
        assert self._film is not None
        chosen = torch.randint(len(self._film_starts), (count,), device=self._device)
        rows = self._film_starts[chosen][:, None]
        rows = rows + 2 * torch.arange(self._recipe.samples, device=self._device)
        return self._film[rows], self._film_state[rows]

    def _either_way(self, world: Tensor, state: Tensor) -> tuple[Tensor, Tensor]:
        """Exchange athletes, and mirror, half of the time each."""
        swap = torch.rand(len(world), device=world.device) < 0.5
        world = torch.where(swap[:, None, None, None, None], world.flip(2), world)
        other = torch.where(state >= 0, self._exchange[state.clamp(min=0)], state)
        state = torch.where(swap[:, None], other, state)
        mirror = torch.rand(len(world), device=world.device) < 0.5
        mirrored = world[..., LEFT_RIGHT, :] * world.new_tensor([-1.0, 1.0, 1.0])
        return torch.where(mirror[:, None, None, None, None], mirrored, world), state


def balanced(poses: Poses) -> np.ndarray:
    """Weight of each pose in drawing, (N,)."""
    named = np.array([coarse(STATES[s]) if s >= 0 else "" for s in poses.state])
    weights = np.zeros(len(poses))
    for position in np.unique(named):
        of_it = named == position
        _, family, counts = np.unique(poses.family[of_it], return_inverse=True, return_counts=True)
        share = np.sqrt(counts)[family] / counts[family]
        weights[of_it] = share / share.sum() * np.sqrt(of_it.sum() if position else of_it.sum() / 4)
    return weights / weights.sum()


def _laid_on(b: Tensor, a: Tensor) -> Tensor:
    """Turn and shift pairs over the mat so that bodies travel little."""
    flat_a, flat_b = a[..., :2].flatten(1, 2), b[..., :2].flatten(1, 2)
    middle_a, middle_b = flat_a.mean(1, keepdim=True), flat_b.mean(1, keepdim=True)
    p, q = flat_b - middle_b, flat_a - middle_a
    cross = (p[..., 0] * q[..., 1] - p[..., 1] * q[..., 0]).sum(1)
    angle = torch.atan2(cross, (p * q).sum((1, 2)))
    angle = angle + 0.3 * torch.randn_like(angle)
    c, s = angle.cos()[:, None], angle.sin()[:, None]
    turned = torch.stack([c * p[..., 0] - s * p[..., 1], s * p[..., 0] + c * p[..., 1]], -1)
    out = b.clone()
    out[..., :2] = (turned + middle_a).unflatten(1, (2, 17))
    return out


def train(
    poses: Poses,
    film: Film | None,
    recipe: Recipe,
    device: torch.device,
    say: Callable[[str], None] = print,
    check: Callable[[PairLift], str] | None = None,
) -> PairLift:
    """Train from random weights.

    Parameters
    ----------
    poses : Poses
    film : Film or None
    recipe : Recipe
    device : torch.device
    say : callable
        Takes progress as sentences.
    check : callable, optional
        Says how good a network is; asked a few times.
    """
    torch.manual_seed(recipe.seed)
    net = PairLift(recipe.width).to(device)
    mean = PairLift(recipe.width).to(device)
    mean.load_state_dict(net.state_dict())
    draw = Draw(poses, film, recipe, device)
    optimizer = torch.optim.AdamW(net.parameters(), lr=recipe.rate, weight_decay=recipe.decay)
    began, step, checked = time.monotonic(), 0, 0.0
    while True:
        share = (time.monotonic() - began) / (60 * recipe.minutes)
        if share >= 1:
            break
        for group in optimizer.param_groups:
            group["lr"] = recipe.rate * min(1, (step + 1) / 200) * 0.5 * (1 + np.cos(np.pi * share))
        world, state = draw.windows()
        with torch.no_grad():
            seen = see(world)
        loss, parts = _loss(net, seen, state, recipe)
        optimizer.zero_grad()
        loss.backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 1.0)
        optimizer.step()
        _follow(mean, net, min(0.999, (step + 1) / (step + 10)))
        step += 1
        if share - checked >= 0.2:
            checked = share
            words = check(mean) if check else ""
            say(f"{step} steps, {100 * share:.0f} %: {parts} {words}")
    say(f"{step} steps of {recipe.batch} windows.")
    return mean.eval()


def _loss(net: PairLift, seen, state: Tensor, recipe: Recipe) -> tuple[Tensor, str]:  # type: ignore[no-untyped-def]
    points = torch.nan_to_num(seen.points)
    told = net(points, seen.confidence)
    named = torch.nn.functional.cross_entropy(
        told.states.flatten(0, 1), state.flatten(), ignore_index=UNNAMED,
        label_smoothing=recipe.smoothing,
    )  # fmt: skip
    apart = torch.nn.functional.smooth_l1_loss(told.space, seen.space, beta=0.1)
    words = f"state {float(named.detach()):.3f}, space {float(apart.detach()):.3f};"
    return named + recipe.space * apart, words


@torch.no_grad()
def _follow(mean: PairLift, net: PairLift, keep: float) -> None:
    """Move the running mean of the weights along."""
    for old, new in zip(mean.parameters(), net.parameters(), strict=True):
        old.lerp_(new, 1 - keep)


def save(net: PairLift, path: Path, facts: dict) -> None:
    """Write weights and facts."""
    from models.training.reader.weights_file import save_weights

    save_weights(net, path, facts)


def facts_of(recipe: Recipe, poses: Poses, film: Film | None, figures: dict) -> dict:
    """Return how a network came about."""
    return {
        "recipe": asdict(recipe),
        "poses": len(poses),
        "families": len(np.unique(poses.family)),
        "moving_samples": len(film.state) if film is not None else 0,
        "figures": json.loads(json.dumps(figures)),
    }
