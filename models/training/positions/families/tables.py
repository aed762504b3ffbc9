"""Figures on families left out: as JSON, and as a table for the documentation."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from models.training.positions.evaluate import Evaluation
from pipeline.library import written_whole
from pipeline.positions import STATES, by_position, top_probability
from pipeline.positions.states import top_of
from pipeline.timeline import POSITIONS, coarse
from pipeline.timeline.compare import expected_calibration_error


def figures_of(evaluation: Evaluation) -> dict[str, Any]:
    """Return the figures of one kind of reading as plain numbers."""
    c = evaluation.comparison
    table = c.per_position()
    table = table[table["seconds"] > 0]
    return {
        "accuracy": round(c.frame_accuracy, 4),
        "mean recall": round(float(table["recall"].mean()), 4),
        "edit": round(c.edit, 2),
        **{f"F1@{round(100 * k)}": round(value, 2) for k, value in c.f1.items()},
        "top": round(c.top_accuracy, 4),
        "calibration error": round(evaluation.calibration_error, 4),
        "bouts": c.bouts,
        "seconds": round(c.seconds),
        "recall": {str(name): round(float(r), 4) for name, r in table["recall"].items()},
        "confusion": {
            str(row): {str(name): round(float(s), 1) for name, s in line.items() if s}
            for row, line in c.confusion.iterrows()
        },
    }


def save(path: Path, result: Mapping[str, Any]) -> None:
    """Write one condition's result as JSON, whole or not at all."""
    text = json.dumps(result, indent=1, ensure_ascii=False)
    with written_whole(path) as part:
        part.write_text(text + "\n", encoding="utf-8")


def still_figures(true: np.ndarray, told: np.ndarray) -> dict[str, Any]:
    """Return the figures of pairs held still.

    Parameters
    ----------
    true : ndarray of str, (N,)
        Joint states.
    told : ndarray, (N, `STATES`)
    """
    positions = np.array([coarse(state) for state in true])
    table = by_position(pd.DataFrame(told, columns=list(STATES)))
    said = table.idxmax(axis=1).to_numpy()
    right = said == positions
    tops = np.array([top_of(str(state)) or "" for state in true])
    first = top_probability(pd.DataFrame(told, columns=list(STATES))).to_numpy() > 0.5
    asked = tops != ""
    confusion = pd.crosstab(positions, said)
    return {
        "accuracy": round(float(right.mean()), 4),
        "mean recall": round(float(pd.Series(right).groupby(positions).mean().mean()), 4),
        "top": round(float((np.where(first, "A", "B") == tops)[asked].mean()), 4),
        "calibration error": round(
            expected_calibration_error(table.max(axis=1).to_numpy(), right), 4
        ),
        "views": len(true),
        "recall": {str(p): round(float(right[positions == p].mean()), 4) for p in confusion.index},
        "confusion": {
            str(row): {str(name): int(count) for name, count in line.items() if count}
            for row, line in confusion.iterrows()
        },
    }


_BOUTS = ("accuracy", "mean recall", "edit", "F1@10", "F1@25", "F1@50", "top", "calibration error")


def markdown(results: Sequence[Mapping[str, Any]]) -> str:
    """Return the tables of several conditions, beside each other."""
    lines = ["| learned from | judged on | " + " | ".join(_BOUTS) + " |",
             "|---|---|" + "---|" * len(_BOUTS)]  # fmt: skip
    for result in results:
        for reader, figures in result["figures"].items():
            cells = [f"{figures[name]:.3g}" if name in figures else "" for name in _BOUTS]
            lines.append(f"| {result['name']} | {reader} | " + " | ".join(cells) + " |")
    columns = [(r["name"], reader, f) for r in results for reader, f in r["figures"].items()]
    lines += ["", "Recall by position:", "",
              "| position | " + " | ".join(f"{n}: {r}" for n, r, _ in columns) + " |",
              "|---|" + "---|" * len(columns)]  # fmt: skip
    for position in POSITIONS:
        found = [f["recall"].get(position.key) for _, _, f in columns]
        if any(value is not None for value in found):
            cells = ["" if value is None else f"{value:.2f}" for value in found]
            lines.append(f"| {position.key} | " + " | ".join(cells) + " |")
    return "\n".join(lines) + "\n"
