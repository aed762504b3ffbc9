"""What learning gives: ``python -m tests.learning.bench_learning [FOLDER [LIBRARY]]``.

A scripted corrector who knows the truth corrects bout after bout, in several orders, and every
few bouts `matline learn` is run on the same library, as a user would. A quarter of the bouts is
kept apart by which `learn` decides; another quarter is in no library and only judges.

FOLDER holds filmed bouts with their truth, as ``bouts film`` writes them; LIBRARY (by default
FOLDER/library) is where ``matline read FOLDER`` has read them. Without: moving skeletons of this
project, through one camera each, by a poor reader.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd

from models.training.positions.data import UNSEEN, load_bouts
from models.training.scenes.views import ReaderErrors, view
from pipeline.geometry import features
from pipeline.learning import Versions, judge, learn
from pipeline.library import Library
from pipeline.positions import PositionModel, by_position, decode
from pipeline.timeline import Timeline
from tests.learning.corrector import KnownBout, corrected, filmed_bouts

POOR = ReaderErrors(
    noise_m=0.08, hidden_factor=2.5, lasting=0.5, missing_hidden=0.5, sides_exchanged=0.05
)
STEPS = (2, 5, 8, 12, 16)
"""Bouts corrected before learning, as far as there are so many."""
FIGURES = ("accuracy", "edit", "macro_f1")
COLUMNS = (
    "corrected", "passes", "put in use",
    *(f"{who} {figure}" for figure in FIGURES for who in ("in use", "learnt")),
    "judged s", "took s",
)  # fmt: skip


def main() -> None:
    """Print the table of each order, then their mean."""
    asked = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    asked.add_argument("folder", nargs="?", type=Path)
    asked.add_argument("library", nargs="?", type=Path)
    asked.add_argument("--orders", type=int, default=4)
    asked.add_argument("--named", default="", help="only bouts whose name begins so")
    given = asked.parse_args()
    if given.folder:
        read = Library(given.library or given.folder / "library")
        bouts = filmed_bouts(given.folder, read)
    else:
        bouts = skeleton_bouts(PositionModel.load())
    bouts = sorted((b for b in bouts if b.title.startswith(given.named)), key=lambda b: b.title)
    print(f"{len(bouts)} bouts, {sum(b.truth.segments[-1].end_s for b in bouts):.0f} s")
    tables = []
    for order in range(given.orders):
        shuffled = [bouts[i] for i in np.random.default_rng(order).permutation(len(bouts))]
        print(f"\norder {order}\n" + "".join(f"{name:>19}" for name in COLUMNS))
        rows = []
        for row in curve(shuffled):
            rows.append(row)
            print("".join(f"{row[name]!s:>19}" for name in COLUMNS), flush=True)
        tables.append(pd.DataFrame(rows))
    summary = pd.concat(tables).groupby("corrected")
    print("\nMean over the orders, then the least and the most:")
    shown = summary[list(COLUMNS[3:9])].agg(["mean", "min", "max"]).round(3)
    shown.columns = [" ".join(column) for column in shown.columns]
    print(shown.T.to_string())
    print(summary["put in use"].agg(["sum", "size"]).to_string())


def skeleton_bouts(model: PositionModel, seed: int = 0) -> list[KnownBout]:
    """Return this project's unseen bouts through one camera each, read poorly; no pictures."""
    found = []
    for number, bout in enumerate(load_bouts(UNSEEN)):
        seen = view(bout, np.random.default_rng((seed, number)), POOR)
        table = features(seen.times, seen.keypoints)
        told = model.predict(table)
        proposal = Timeline(tuple(decode(told).segments))
        found.append(
            KnownBout(
                bout.name,
                seen.times,
                seen.keypoints,
                table,
                by_position(told),
                None,
                proposal,
                bout.timeline,
            )
        )
    return found


def curve(bouts: list[KnownBout]) -> Iterator[dict[str, object]]:
    """Yield a row each time something was learnt: figures on bouts that nobody corrected."""
    quarter = max(1, len(bouts) // 4)
    judges, apart, others = bouts[:quarter], bouts[quarter : 2 * quarter], bouts[2 * quarter :]
    with tempfile.TemporaryDirectory() as folder:
        judged = corrected(judges, Library(Path(folder) / "judges"))
        library = Library(Path(folder) / "library")
        kept = [bout.put(library) for bout in apart]
        for bout, bout_id in zip(apart, kept, strict=True):
            bout.correct(library, bout_id)
        waiting = [(bout, bout.put(library)) for bout in others]
        yield _row(0, 0, 0.0, False, judge(PositionModel.load(), judged), None)
        done = 0
        for step in sorted({*(s for s in STEPS if s < len(others) - 1), len(others)}):
            for bout, bout_id in waiting[done:step]:
                bout.correct(library, bout_id)
            done = step
            begun = time.monotonic()
            outcome = learn(library, keep_apart=kept)
            spent_s = time.monotonic() - begun
            in_use = judge(Versions(library).model(), judged)
            learnt = judge(outcome.model, judged)
            put = outcome.version is not None
            yield _row(step, outcome.trial.passes, spent_s, put, in_use, learnt)


def _row(corrected, passes, spent_s, put, in_use, learnt) -> dict[str, object]:  # type: ignore[no-untyped-def]
    row: dict[str, object] = {"corrected": corrected, "passes": passes, "put in use": put}
    for figure in FIGURES:
        row[f"in use {figure}"] = round(getattr(in_use, figure), 3)
        row[f"learnt {figure}"] = round(getattr(learnt or in_use, figure), 3)
    return row | {"judged s": round(in_use.seconds), "took s": round(spent_s)}


if __name__ == "__main__":
    main()
