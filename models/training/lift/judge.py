"""How well a lift does on pairs that it never saw, each held still before several cameras."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import torch
from torch import Tensor

from models.training.lift.material import Poses
from models.training.lift.network import PairLift
from models.training.lift.train import Draw, Recipe
from models.training.lift.views import see
from pipeline.positions.states import STATES, top_of
from pipeline.timeline import coarse
from pipeline.timeline.states import EXCHANGED


@dataclass(frozen=True)
class Figures:
    """Figures over views of still pairs.

    Attributes
    ----------
    right : float
        Share of views whose position is named right.
    recall : dict of str to float
        By position.
    top : float
        Share with the right athlete on top, of those where somebody is and the position is right.
    off : float
        Mean distance of a keypoint in space from the truth, trunk lengths.
    confusion : dict
        Of each position, how often it was named what.
    """

    right: float
    recall: dict[str, float]
    top: float
    off: float
    confusion: dict[str, dict[str, int]]

    def __str__(self) -> str:
        recalls = ", ".join(f"{name} {value:.2f}" for name, value in self.recall.items())
        mean = np.mean(list(self.recall.values()))
        return (
            f"right {self.right:.3f}, mean recall {mean:.3f}, top {self.top:.3f}, "
            f"off {self.off:.3f}; {recalls}"
        )


@torch.no_grad()
def judge(net: PairLift, poses: Poses, cameras: int = 4, seed: int = 5) -> Figures:
    """Judge a network on still pairs."""
    device = next(net.parameters()).device
    state_of, names, tops, off = [], [], [], []
    torch_state = torch.random.get_rng_state()
    torch.manual_seed(seed)
    net.eval()
    recipe = Recipe(batch=1)
    draw = Draw(poses, None, recipe, device)
    world = torch.as_tensor(poses.world, device=device)
    for first in range(0, len(poses), 256):
        some = world[first : first + 256].repeat_interleave(cameras, 0)
        truth = np.repeat(poses.state[first : first + 256], cameras)
        still = draw._alive(some[:, None].expand(-1, recipe.samples, -1, -1, -1))
        seen = see(still)
        told, space = both_orders(net, torch.nan_to_num(seen.points), seen.confidence)
        middle = recipe.samples // 2
        mean = told[:, middle - 3 : middle + 4].mean(1).cpu().numpy()
        off.append((space - seen.space)[:, middle].norm(dim=-1).mean((1, 2)).cpu().numpy())
        state_of.append(truth)
        names.append(_positions(mean))
        tops.append(_tops(mean))
    torch.random.set_rng_state(torch_state)
    net.train()
    return _figures(*(np.concatenate(part) for part in (state_of, names, tops, off)))


def both_orders(net: PairLift, points: Tensor, confidence: Tensor) -> tuple[Tensor, Tensor]:
    """Probabilities (B, T, K) and keypoints in space, as the mean over both naming orders."""
    one = net(points, confidence)
    two = net(points.flip(2), confidence.flip(2))
    back = list(EXCHANGED)
    states = (one.states.softmax(-1) + two.states.softmax(-1)[..., back]) / 2
    return states, (one.space + two.space.flip(2)) / 2


_POSITIONS = sorted({coarse(state) for state in STATES})


def _positions(mean: np.ndarray) -> np.ndarray:
    sums = [mean[:, [coarse(s) == p for s in STATES]].sum(1) for p in _POSITIONS]
    return np.array(_POSITIONS)[np.argmax(sums, 0)]


def _tops(mean: np.ndarray) -> np.ndarray:
    sums = [mean[:, [top_of(s) == athlete for s in STATES]].sum(1) for athlete in "AB"]
    return np.array(["A", "B"])[np.argmax(sums, 0)]


def _figures(state: np.ndarray, named: np.ndarray, top: np.ndarray, off: np.ndarray) -> Figures:
    true = np.array([coarse(STATES[s]) if s >= 0 else "" for s in state])
    true_top = np.array([top_of(STATES[s]) or "" if s >= 0 else "" for s in state])
    known = true != ""
    right = named == true
    asked = known & right & (true_top != "")
    positions = [str(p) for p in np.unique(true[known])]
    return Figures(
        float(right[known].mean()),
        {p: float(right[true == p].mean()) for p in positions},
        float((top == true_top)[asked].mean()) if asked.any() else float("nan"),
        float(off.mean()),
        {p: {str(n): int(c) for n, c in zip(*np.unique(named[true == p], return_counts=True),
                                             strict=True)} for p in positions},
    )  # fmt: skip
