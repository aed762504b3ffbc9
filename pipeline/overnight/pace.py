"""How fast a reader has been on this machine, for the next plan's estimate."""

from __future__ import annotations

import json
from pathlib import Path

from pipeline.library import written_whole

SPEED_A_WORKER = 3.0
"""Seconds of footage a worker reads a second, until it has been measured here."""


def known_speed(root: Path, backend: str) -> float:
    """Return seconds of footage that one worker reads a second."""
    speed = _speeds(root).get(backend)
    return speed if isinstance(speed, float) and speed > 0 else SPEED_A_WORKER


def keep_speed(root: Path, backend: str, footage_s: float, worked_s: float) -> None:
    """Keep what was measured in a night, for the next."""
    if footage_s > 0 and worked_s > 0:
        speeds = _speeds(root) | {backend: footage_s / worked_s}
        with written_whole(_path(root)) as part:
            part.write_text(json.dumps(speeds), encoding="utf-8")


def _speeds(root: Path) -> dict[str, object]:
    try:
        found = json.loads(_path(root).read_text(encoding="utf-8"))
    except (OSError, ValueError):  # an estimate is not worth an error
        return {}
    return found if isinstance(found, dict) else {}


def _path(root: Path) -> Path:
    return root / "speeds.json"
