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

from models.training.heights.data import Sample, samples
from models.training.positions.data import load_bouts
from pipeline.bodies.look import COCO_MIRROR
from pipeline.geometry.lifting import LIFTED, network_input, shipped_network

BATCH = 1024


class Heights(torch.nn.Sequential):
    """Two hidden layers; a pair's 34 points in, five heights for each of two bodies out."""

    def __init__(self, hidden: int = 320) -> None:
        super().__init__(
            torch.nn.Linear(102, hidden),
            torch.nn.GELU(),
            torch.nn.Linear(hidden, hidden),
            torch.nn.GELU(),
            torch.nn.Linear(hidden, 2 * len(LIFTED)),
        )


def train(data: Sample, epochs: int, seed: int) -> Heights:
    """Fit the network; pairs are exchanged, mirrored, rolled and scaled at random."""
    rng = np.random.default_rng(seed)
    torch.manual_seed(seed)
    network = Heights()
    steps = epochs * (len(data.placed) // BATCH)
    optimiser = torch.optim.AdamW(network.parameters(), weight_decay=1e-3)
    schedule = torch.optim.lr_scheduler.OneCycleLR(optimiser, 4e-3, total_steps=steps)
    for _ in range(epochs):
        order = rng.permutation(len(data.placed))
        for first in range(0, len(order) - BATCH + 1, BATCH):
            chosen = order[first : first + BATCH]
            placed, heights = varied(rng, data.placed[chosen], data.heights[chosen])
            told = network(torch.from_numpy(network_input(placed)))
            true = torch.from_numpy(np.ascontiguousarray(heights)).reshape(told.shape)
            loss = torch.nn.functional.smooth_l1_loss(told, true, beta=0.2)
            optimiser.zero_grad()
            loss.backward()
            optimiser.step()
            schedule.step()
    return network


def varied(
    rng: np.random.Generator, placed: np.ndarray, heights: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Exchange or mirror a batch, roll each picture by a few degrees, err in its scale."""
    if rng.random() < 0.5:
        placed, heights = placed[:, ::-1], heights[:, ::-1]
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
        (torch.zeros(1, 102),),
        part,
        input_names=["pair"],
        output_names=["heights"],
        dynamic_axes={"pair": {0: "samples"}, "heights": {0: "samples"}},
        dynamo=False,
    )
    os.replace(part, path)


def error(network: Heights, data: Sample) -> np.ndarray:
    """Return the mean absolute error of each of `LIFTED`, trunk lengths."""
    with torch.no_grad():
        told = network(torch.from_numpy(network_input(data.placed))).numpy()
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
    learned_from = samples([b for i, b in enumerate(bouts) if i % 4 != 3], given.views, given.seed)
    network = train(learned_from, given.epochs, given.seed)
    held_out = samples(bouts[3::4], 4, given.seed + 1)
    usual = np.abs(held_out.heights - learned_from.heights.mean(axis=0)).mean(axis=(0, 1))
    for point, off, without in zip(LIFTED, error(network, held_out), usual, strict=True):
        print(f"{point:10} {off:.3f} trunk lengths off; saying the mean: {without:.3f}")
    save(network, given.out)


if __name__ == "__main__":
    main()
