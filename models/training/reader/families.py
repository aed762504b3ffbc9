"""How well a reader does on families of poses that it never saw, beside those it learned from."""

from __future__ import annotations

import json
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import cache
from multiprocessing import get_context
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, NamedTuple

from models.training.reader.judge import Judgement, Picture, judge_shard
from models.training.scenes.families import kept
from pipeline.bodies.pair import PairReader
from pipeline.errors import MatlineError

LEFT_OUT, KNOWN = "families left out", "families learned from"


class Run(NamedTuple):
    """A trained reader, the fold it left out (−1: none), and pictures to judge it by."""

    weights: Path
    fold: int
    shards: Path

    @classmethod
    def of(cls, folder: Path, shards: Path | None = None) -> Run:
        """Take what the recipe left in a folder.

        Raises
        ------
        MatlineError
            If the recipe wasn't run there, or left nothing out.
        """
        plan = folder / "plan.json"
        fold = json.loads(plan.read_text()).get("leave_out_fold") if plan.is_file() else None
        if fold is None:
            raise MatlineError(
                f"{folder} is no run that leaves families out; make one with "
                "“python -m models.training.reader recipe --leave-out-fold 0 --out FOLDER”."
            )
        return cls(folder / "weights" / "pair_reader.npz", fold, shards or folder / "held_shards")


def judge_runs(runs: Sequence[Run], workers: int = 1) -> dict[str, dict[str, Any]]:
    """Judge readers on the families that each left out and on those it learned from, pooled.

    Parameters
    ----------
    runs : sequence of Run
    workers : int
        Processes.

    Returns
    -------
    dict
        By kind of family: what `Judgement.figures` gives, and ``by position``: the same of each.
    """
    found: dict[str, list[Picture]] = {LEFT_OUT: [], KNOWN: []}
    for run in runs:
        for picture in read_shards(run, workers):
            learned = kept([picture.template], run.fold) if run.fold >= 0 else [picture.template]
            found[KNOWN if learned else LEFT_OUT].append(picture)
    return {kind: figures(pictures) for kind, pictures in found.items() if pictures}


def read_shards(run: Run, workers: int) -> list[Picture]:
    """Read all pictures of a run's shards."""
    paths = sorted(run.shards.glob("*.npz"))
    if not paths:
        raise MatlineError(f"There are no pictures in {run.shards}; render some.")
    with TemporaryDirectory() as folder:
        reader = exported(run.weights, Path(folder))
        if workers == 1:
            return [picture for path in paths for picture in _read(reader, path)]
        with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
            parts = pool.map(_read, [reader] * len(paths), paths)
            return [picture for part in parts for picture in part]


def exported(weights: Path, folder: Path) -> Path:
    """Return an ONNX file of weights: itself, or what is written into a folder.

    Raises
    ------
    MatlineError
        If there is no such file.
    """
    if not weights.is_file():
        raise MatlineError(f"There are no weights at {weights}; train them, or name others.")
    if weights.suffix == ".onnx":
        return weights
    from models.training.reader.export import trained_reader, write_reader

    path = folder / "pair_reader.onnx"
    write_reader(*trained_reader(weights), path)
    return path


@cache
def _reader(path: Path) -> PairReader:
    return PairReader(reader=path, threads=1)


def _read(reader: Path, shard: Path) -> list[Picture]:
    return list(judge_shard(_reader(reader), shard))


def figures(pictures: Sequence[Picture]) -> dict[str, Any]:
    """Return the figures of pictures, of all and by position."""
    positions = sorted({picture.position for picture in pictures if picture.position})
    return Judgement(list(pictures)).figures() | {
        "by position": {
            position: Judgement([p for p in pictures if p.position == position]).figures()
            for position in positions
        }
    }


_COLUMNS = {
    "pictures": "pictures", "visible": "visible keypoints", "hidden": "hidden keypoints",
    "swapped": "exchanged between athletes", "position": "position", "top": "who is on top",
}  # fmt: skip


def markdown(judged: dict[str, dict[str, Any]]) -> str:
    """Return the tables for the documentation."""
    parts = [_table(judged)]
    for kind, found in judged.items():
        parts.append(f"By position, {kind}:\n\n" + _table(found["by position"]))
    return "\n".join(parts)


def _table(rows: dict[str, dict[str, Any]]) -> str:
    lines = ["| | " + " | ".join(_COLUMNS.values()) + " |", "|---|" + "---|" * len(_COLUMNS)]
    for name, found in rows.items():
        cells = [
            str(found["pictures"]),
            *(f"{100 * found[k]:.1f} %" if k in found else "" for k in list(_COLUMNS)[1:]),
        ]
        lines.append(f"| {name} | " + " | ".join(cells) + " |")
    return "\n".join(lines) + "\n"
