"""Weights of a network in training, with the facts of how they came about, as one file."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import torch
from torch import nn


def save_weights(net: nn.Module, path: Path, facts: dict) -> None:
    """Write weights (float16) and facts as one npz, atomically."""
    arrays = {
        key: value.detach().cpu().numpy().astype(np.float16)
        if value.is_floating_point()
        else value.cpu().numpy()
        for key, value in net.state_dict().items()
    }
    temporary = path.with_suffix(".part.npz")
    np.savez(temporary, facts=np.array(json.dumps(facts)), **arrays)
    temporary.replace(path)


def load_weights(net: nn.Module, path: Path) -> dict:
    """Load weights written by `save_weights`; return the facts."""
    with np.load(path) as data:
        state = {}
        for key in data.files:
            if key != "facts":
                value = torch.from_numpy(data[key])
                state[key] = value.float() if value.is_floating_point() else value
        net.load_state_dict(state)
    return read_facts(path)


def read_facts(path: Path) -> dict:
    """Return the facts that `save_weights` was given."""
    with np.load(path) as data:
        return json.loads(str(data["facts"]))
