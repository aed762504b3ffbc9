"""A sheet of skeletons: what the judge calls each position, and where it says something else."""

from __future__ import annotations

import cv2
import numpy as np

from models.training.positions.judged import NONE, Judged
from pipeline.positions.judging import POSE_JOINTS
from pipeline.timeline.vocabulary import POSITIONS

CELL = 170
CLEAR, BORDER = 4, 3
"""Pictures a row: judged as named, then named otherwise by their templates."""

# Okabe–Ito vermillion and blue (published, colour-blind safe), BGR.
_COLOURS = ((0, 94, 213), (178, 114, 0))
_PAPER, _INK = (246, 246, 246), (60, 60, 60)
_AT = {name: row for row, name in enumerate(POSE_JOINTS)}
_LINES = [("head", "neck"), ("l_shoulder", "r_shoulder"), ("l_hip", "r_hip")] + [
    (f"{side}_{a}", f"{side}_{b}")
    for side in "lr"
    for a, b in (("shoulder", "elbow"), ("elbow", "wrist"), ("shoulder", "hip"),
                 ("hip", "knee"), ("knee", "ankle"))
]  # fmt: skip


def sheet(found: Judged, seed: int = 0) -> np.ndarray:
    """Draw one row a position: clear examples, a gap, and borderline ones with what was meant.

    Parameters
    ----------
    found : Judged
    seed : int
        Which of them are drawn.

    Returns
    -------
    ndarray, uint8, (height, width, 3)
        BGR; A is vermillion, B blue.
    """
    rng = np.random.default_rng(seed)
    rows = []
    for position in [p.key for p in POSITIONS if p.key != "scramble"] + [NONE]:
        said = found.said == position
        clear = rng.permutation(np.flatnonzero(said & found.agrees))[:CLEAR]
        border = rng.permutation(np.flatnonzero(said & ~found.agrees))[:BORDER]
        cells = [_cell(found, int(row), position) for row in clear]
        cells += [_blank()] * (CLEAR - len(cells))
        cells += [_cell(found, int(row), f"{position}; meant {found.position[row]}")
                  for row in border]  # fmt: skip
        cells += [_blank()] * (CLEAR + BORDER - len(cells))
        rows.append(np.hstack([*cells[:CLEAR], _blank()[:, :24], *cells[CLEAR:]]))
    return np.vstack(rows)


def _blank() -> np.ndarray:
    return np.full((CELL, CELL, 3), _PAPER, np.uint8)


def _cell(found: Judged, row: int, words: str) -> np.ndarray:
    top = found.verdicts[row].top
    picture = skeletons(found.joints[row])
    text = words + (f" ({top})" if top else "")
    cv2.putText(picture, text, (3, 11), cv2.FONT_HERSHEY_SIMPLEX, 0.30, _INK, 1, cv2.LINE_AA)
    return picture


def skeletons(pose: np.ndarray, elevation_deg: float = 25.0) -> np.ndarray:
    """Draw two skeletons (2, 14, 3) from the side that shows most of them."""
    centre = pose.reshape(-1, 3).mean(0)
    flat = (pose - centre).reshape(-1, 3)[:, :2]
    right = np.append(np.linalg.svd(flat, full_matrices=False)[2][0], 0)
    away = np.array([-right[1], right[0], 0])
    tilt = np.radians(elevation_deg)
    up = np.sin(tilt) * away + np.cos(tilt) * np.array([0, 0, 1])
    seen = np.stack([(pose - centre) @ right, -(pose - centre) @ up], -1)
    scale = (CELL - 34) / max(float(np.ptp(seen, (0, 1)).max()), 1.0)
    middle = (seen.reshape(-1, 2).max(0) + seen.reshape(-1, 2).min(0)) / 2
    points = ((seen - middle) * scale + (CELL / 2, CELL / 2 + 7)).round().astype(int)
    picture = _blank()
    for body, colour in zip(points, _COLOURS, strict=True):
        for a, b in _LINES:
            cv2.line(picture, tuple(map(int, body[_AT[a]])), tuple(map(int, body[_AT[b]])), colour,
                     2, cv2.LINE_AA)  # fmt: skip
        head = tuple(map(int, body[_AT["head"]]))
        cv2.circle(picture, head, max(3, int(0.09 * scale)), colour, -1, cv2.LINE_AA)
    return picture
