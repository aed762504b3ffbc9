"""Train the heights network: ``python -m models.training.heights BOUTS``.

BOUTS is a folder made by ``python -m models.training.positions bouts``. Every fourth bout is held
out; the error printed is on those, through cameras of their own.
"""

from __future__ import annotations

import argparse
import os
from pathlib import Path

import numpy as np
import torch

from models.training.heights.data import FULL_TILT, Sample, samples
from models.training.positions.data import load_bouts
from pipeline.bodies.look import COCO_MIRROR
from pipeline.geometry.lifting import LIFTED, network_input, shipped_network

BATCH = 1024
HELD_OUT = 4
"""Every so many-th bout is not learned from."""


class Heights(torch.nn.Module):
    """A pair's 34 points to the camera's tilt, and with that to five heights of two bodies."""

    def __init__(self, hidden: int = 384) -> None:
        super().__init__()
        self.tilt = _layers(103, hidden, 1)
        self.heights = _layers(104, hidden, 2 * len(LIFTED))

    def forward(self, pair: torch.Tensor, tilt: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor]:
        return self.heights(torch.cat([pair, tilt], dim=1)), self.tilt(pair)


def _layers(first: int, hidden: int, last: int) -> torch.nn.Sequential:
    return torch.nn.Sequential(
        torch.nn.Linear(first, hidden),
        torch.nn.GELU(),
        torch.nn.Linear(hidden, hidden),
        torch.nn.GELU(),
        torch.nn.Linear(hidden, last),
    )


def train(data: Sample, epochs: int, seed: int) -> Heights:
    """Fit the tilt, then the heights given the tilt as a whole view shows it."""
    torch.manual_seed(seed)
    network = Heights()
    _fit(network.tilt, data._replace(heights=data.tilt[:, None]), None, epochs, seed)
    _fit(network.heights, data, view_tilt(network, data), epochs, seed + 1)
    return network


def _fit(
    part: torch.nn.Sequential, data: Sample, tilt: np.ndarray | None, epochs: int, seed: int
) -> None:
    """Pairs are exchanged, mirrored, rolled and scaled at random."""
    rng = np.random.default_rng(seed)
    steps = epochs * (len(data.placed) // BATCH)
    optimiser = torch.optim.AdamW(part.parameters(), weight_decay=1e-3)
    schedule = torch.optim.lr_scheduler.OneCycleLR(optimiser, 4e-3, total_steps=steps)
    for _ in range(epochs):
        order = rng.permutation(len(data.placed))
        for first in range(0, len(order) - BATCH + 1, BATCH):
            chosen = order[first : first + BATCH]
            placed, wanted = varied(rng, data.placed[chosen], data.heights[chosen])
            given = network_input(placed, data.length[chosen])
            if tilt is not None:
                wrong = tilt[chosen] + rng.normal(0, 0.05, len(chosen)).astype(np.float32)
                given = np.concatenate([given, wrong[:, None]], axis=1)
            told = part(torch.from_numpy(given))
            true = torch.from_numpy(np.ascontiguousarray(wanted)).reshape(told.shape)
            loss = torch.nn.functional.smooth_l1_loss(told, true, beta=0.2)
            optimiser.zero_grad()
            loss.backward()
            optimiser.step()
            schedule.step()


def view_tilt(network: Heights, data: Sample) -> np.ndarray:
    """Return the median over each view of the tilt that its samples show, (N,)."""
    with torch.no_grad():
        seen = network.tilt(torch.from_numpy(network_input(data.placed, data.length))).numpy()[:, 0]
    middle = {view: np.median(seen[data.view == view]) for view in np.unique(data.view)}
    return np.array([middle[view] for view in data.view], np.float32)


def varied(
    rng: np.random.Generator, placed: np.ndarray, heights: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Exchange or mirror a batch, roll each picture by a few degrees, err in its scale."""
    if rng.random() < 0.5:
        placed = placed[:, ::-1]
        heights = heights[:, ::-1] if heights.ndim == 3 else heights
    if rng.random() < 0.5:
        placed = placed[:, :, COCO_MIRROR] * np.array([-1, 1], np.float32)
    roll = rng.normal(0, 0.06, len(placed))
    size = np.exp(rng.normal(0, 0.05, len(placed)))
    cos, sin = size * np.cos(roll), size * np.sin(roll)
    turn = np.stack([np.stack([cos, sin], -1), np.stack([-sin, cos], -1)], -2)
    return np.einsum("tbka,tac->tbkc", placed, turn.astype(np.float32)), heights


def save(network: Heights, path: Path) -> None:
    """Write the network as ONNX, atomically."""
    part = path.with_suffix(".part")
    torch.onnx.export(
        network.eval(),
        (torch.zeros(1, 103), torch.zeros(1, 1)),
        part,
        input_names=["pair", "tilt"],
        output_names=["heights", "tilt_seen"],
        dynamic_axes={name: {0: "samples"} for name in ("pair", "tilt", "heights", "tilt_seen")},
        dynamo=False,
    )
    os.replace(part, path)


def error(network: Heights, data: Sample) -> np.ndarray:
    """Return the mean absolute error of each of `LIFTED`, trunk lengths."""
    pair, tilt = network_input(data.placed, data.length), view_tilt(network, data)[:, None]
    with torch.no_grad():
        told = network(torch.from_numpy(pair), torch.from_numpy(tilt))[0].numpy()
    return np.abs(told.reshape(data.heights.shape) - data.heights).mean(axis=(0, 1))


def main() -> None:
    """Train, say how good it is on held-out bouts, write the weights."""
    parser = argparse.ArgumentParser(prog="python -m models.training.heights", description=__doc__)
    parser.add_argument("bouts", type=Path)
    parser.add_argument("--views", type=int, default=12, help="cameras a bout")
    parser.add_argument("--epochs", type=int, default=8)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--out", type=Path, default=shipped_network())
    given = parser.parse_args()
    bouts = load_bouts(given.bouts)
    learned_from = samples(
        [b for i, b in enumerate(bouts) if (i + 1) % HELD_OUT], given.views, given.seed
    )
    network = train(learned_from, given.epochs, given.seed)
    held_out = samples(bouts[HELD_OUT - 1 :: HELD_OUT], 4, given.seed + 1)
    usual = np.abs(held_out.heights - learned_from.heights.mean(axis=0)).mean(axis=(0, 1))
    for point, off, without in zip(LIFTED, error(network, held_out), usual, strict=True):
        print(f"{point:10} {off:.3f} trunk lengths off; saying the mean: {without:.3f}")
    off = np.abs(view_tilt(network, held_out) - held_out.tilt).mean() * FULL_TILT
    print(f"tilt       {off:.1f} degrees off")
    save(network, given.out)


if __name__ == "__main__":
    main()
