"""Five folds: make bouts without a fold's families, learn from them, and judge on the fold's.

Everything made is kept: test bouts for all conditions, samples and models by condition. What is
already there is not made again, so that a run goes on where it stopped.
"""

from __future__ import annotations

import hashlib
import json
import os
import time
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np

from models.training.positions.data import QUICK_STEPS, load_bouts, pack_bouts
from models.training.positions.evaluate import Judged, pooled
from models.training.positions.families import jobs, making
from models.training.positions.families.tables import figures_of, markdown, save, still_figures
from models.training.positions.train import Recipe
from models.training.scenes.families import FOLDS, kept, written_folds
from models.training.scenes.pairs_file import load_pairs
from pipeline.errors import MatlineError

READ_AS = ("exact keypoints", "3 cm noise")
STILLS = "stills, 3 cm noise"
TEST_STEPS = 40
STILLS_A_JOB = 100

Say = Callable[[str], None]


@dataclass(frozen=True)
class Condition:
    """What is learned from, and what it is judged on.

    Attributes
    ----------
    name : str
        Under which samples, models and figures are kept.
    learned, unseen : Source
        Pairs to make bouts of; to judge by, of other people.
    still_pairs : tuple of Path
        Pairs of the same cast to learn from as stills, besides.
    named_by : str
        ``"template"`` or ``"judge"``: what says what a still is.
    extra_bouts : tuple of Path
        Folders of bouts made elsewhere, to learn from besides.
    lifts : Path, optional
        Folder of lift networks, one for each fold, that never saw the fold's families; without it
        no lift is used, since the shipped one knows them all.
    out : Path
    bouts, test_bouts : int
        In each fold.
    seconds : float
        Length of a bout.
    views, still_views : int
        Cameras for each bout and still learned from.
    test_stills : int
        Pairs of each template left out that are judged as stills.
    kind : str
        ``"network"`` or ``"boosting"``.
    epochs, seed : int
    workers : int
    device : str
    limit_s : float
        No more bouts are made once this has passed; 0 for no limit.
    """

    name: str
    learned: making.Source
    unseen: making.Source
    out: Path
    still_pairs: tuple[Path, ...] = ()
    named_by: str = "template"
    extra_bouts: tuple[Path, ...] = ()
    lifts: Path | None = None
    bouts: int = 100
    test_bouts: int = 20
    seconds: float = 60.0
    views: int = 4
    still_views: int = 1
    test_stills: int = 4
    kind: str = "network"
    epochs: int = Recipe.epochs
    seed: int = 0
    workers: int = 1
    device: str = "cpu"
    limit_s: float = 0.0

    def lift(self, fold: int) -> Path | None:
        """Return the lift network of a fold."""
        return self.lifts and self.lifts / f"fold-{fold}.onnx"

    @property
    def folder(self) -> Path:
        """Where this condition's own files are."""
        return self.out / self.name

    @property
    def test_folder(self) -> Path:
        """Where the bouts are that all conditions are judged on."""
        return self.out / "test"

    @property
    def still_source(self) -> making.Source:
        """The pairs learned from as stills, and their cast."""
        return making.Source(self.learned.cast, self.still_pairs)


def run(condition: Condition, say: Say = print) -> dict[str, Any]:
    """Make, fit and judge; return and keep the figures.

    Raises
    ------
    MatlineError
        If what is kept under the condition's name was made of something else.
    """
    began = time.monotonic()

    def timed(text: str) -> None:
        say(f"{time.monotonic() - began:5.0f} s  {text}")

    # Each worker keeps to one core; the variable is read when a worker starts.
    os.environ["OMP_NUM_THREADS"] = "1"
    _made_of(condition)
    with ProcessPoolExecutor(condition.workers, mp_context=get_context("spawn")) as pool:
        tests = _tests(pool, condition, timed)
        _learn(pool, condition, timed, began)
        models = _fit(pool, condition, timed)
        result = _judge(pool, condition, models, tests, timed)
    save(condition.out / f"{condition.name}.json", result)
    return result


def report(out: Path) -> str:
    """Write the tables of all conditions in a folder beside them, and return them."""
    results = [json.loads(path.read_text()) for path in sorted(out.glob("*.json"))]
    text = markdown(results)
    (out / "families.md").write_text(text, encoding="utf-8")
    return text


def _digest(*paths: Path) -> str:
    total = hashlib.sha256()
    for path in paths:
        if not path.is_file():
            raise MatlineError(f"There is no file {path}; make it, or name another.")
        total.update(path.read_bytes())
    return total.hexdigest()[:16]


def _made_of(condition: Condition) -> None:
    """Keep in each folder what its files are made of; refuse to mix."""
    c = condition
    folds = sorted((family, fold) for (_, family), fold in written_folds().items())
    tests = {
        "folds": hashlib.sha256(json.dumps(folds).encode()).hexdigest()[:16],
        "pairs": _digest(c.unseen.cast, *c.unseen.pairs),
        "bouts": c.test_bouts,
        "seconds": c.seconds,
    }
    samples = {
        "folds": tests["folds"],
        "pairs": _digest(c.learned.cast, *c.learned.pairs),
        "stills": _digest(c.learned.cast, *c.still_pairs),
        "named_by": c.named_by,
        "seconds": c.seconds,
        "views": [c.views, c.still_views],
        "lifts": _digest(*(c.lifts / f"fold-{fold}.onnx" for fold in range(FOLDS)))
        if c.lifts
        else "",
    }
    for folder, wanted in ((c.test_folder, tests), (c.folder, samples)):
        note = folder / "made_of.json"
        if note.is_file() and json.loads(note.read_text()) != wanted:
            raise MatlineError(
                f"What is in {folder} was made of other files or with other options; "
                "take another --out or --name, or remove it."
            )
        save(note, wanted)


def _tests(pool: ProcessPoolExecutor, condition: Condition, say: Say) -> list[Path]:
    """Make the bouts to judge by, one file a fold."""
    paths = [condition.test_folder / f"fold-{fold}.npz" for fold in range(FOLDS)]
    made: dict[int, list[Future[Any]]] = {}
    for fold, path in enumerate(paths):
        if not path.is_file():
            made[fold] = [
                pool.submit(
                    making.make,
                    making.Order(condition.unseen, fold, n, True, condition.seconds, TEST_STEPS),
                )
                for n in range(condition.test_bouts)
            ]
    for fold, bouts in made.items():
        if bouts:
            pack_bouts([bout.result() for bout in bouts], paths[fold])
            say(f"{len(bouts)} bouts to judge fold {fold} by")
    return paths


def _bout_files(condition: Condition, fold: int) -> list[Path]:
    folder = condition.folder / f"fold-{fold}"
    return [folder / f"bout-{n:05d}.npz" for n in range(condition.bouts)]


def _still_files(condition: Condition) -> dict[Path, tuple[np.ndarray, int]]:
    """Files of samples of stills, with the pairs and the view that each is of."""
    if not condition.still_pairs:
        return {}
    count = len(load_pairs(*condition.still_pairs))
    # Mixed, so that what is there when time is up is of all kinds.
    order = np.random.default_rng(0).permutation(count)
    return {
        condition.folder / "stills" / f"{view}-{start // STILLS_A_JOB:05d}.npz": (
            order[start : start + STILLS_A_JOB],
            view,
        )
        for view in range(condition.still_views)
        for start in range(0, count, STILLS_A_JOB)
    }


def _extra_files(condition: Condition) -> dict[Path, Path]:
    """Files of samples of bouts made elsewhere, with the bouts."""
    return {
        condition.folder / "extra" / f"{number}-{path.name}": path
        for number, folder in enumerate(condition.extra_bouts)
        for path in sorted(folder.glob("*.npz"))
    }


def _learn(pool: ProcessPoolExecutor, condition: Condition, say: Say, began: float) -> None:
    """Make what models learn from; stops handing out work when time is up."""
    c = condition
    waiting: list[Future[None]] = []
    for to, (rows, view) in _still_files(c).items():
        to.parent.mkdir(parents=True, exist_ok=True)
        if not to.is_file():
            seeds = (c.seed, view, int(rows[0]))
            work = (c.still_source, rows, c.named_by, seeds, to)
            waiting.append(pool.submit(jobs.learn_stills, *work))
    for number, (to, bout) in enumerate(_extra_files(c).items()):
        to.parent.mkdir(parents=True, exist_ok=True)
        if not to.is_file():
            waiting.append(pool.submit(jobs.learn_stored, bout, number, c.views, to))
    files = [_bout_files(c, fold) for fold in range(FOLDS)]
    for n in range(c.bouts):
        for fold in range(FOLDS):
            to = files[fold][n]
            to.parent.mkdir(parents=True, exist_ok=True)
            if not to.is_file():
                order = making.Order(c.learned, fold, n, False, c.seconds, QUICK_STEPS)
                waiting.append(pool.submit(jobs.learn_made, order, c.views, to, c.lift(fold)))
    for done, job in enumerate(as_completed(waiting), 1):
        if job.cancelled():
            continue
        job.result()
        if done % max(len(waiting) // 20, 1) == 0:
            say(f"{done} of {len(waiting)} to learn from")
        if c.limit_s and time.monotonic() - began > c.limit_s:
            stopped = sum(other.cancel() for other in waiting)
            if stopped:
                say(f"time is up: {stopped} of {len(waiting)} were not made")


def _fit(pool: ProcessPoolExecutor, condition: Condition, say: Say) -> list[Path]:
    """Fit all folds side by side."""
    c = condition
    still_files = tuple(path for path in _still_files(c) if path.is_file())
    pairs = load_pairs(*c.still_pairs) if c.still_pairs else None
    extra = {to: _names_in(bout) for to, bout in _extra_files(c).items()}
    models, fitted = [], []
    for fold in range(FOLDS):
        bouts = [path for path in _bout_files(c, fold) if path.is_file()]
        bouts += [to for to, names in extra.items() if len(kept(names, fold)) == len(names)]
        rows = np.zeros(0, bool)
        if pairs is not None:
            learned = set(kept([str(name) for name in pairs.templates], fold))
            rows = np.array([str(name) in learned for name in pairs.templates])[pairs.template]
        if not bouts and not rows.any():
            raise MatlineError(f"Nothing to learn from in fold {fold}; give bouts or stills.")
        models.append(c.folder / f"fold-{fold}.skops")
        work = jobs.Fold(
            tuple(bouts), still_files, rows, models[-1], c.kind, _device(c.device, fold),
            max(c.workers // FOLDS, 1), c.epochs, c.seed,
        )  # fmt: skip
        fitted.append(pool.submit(jobs.fit_fold, work))
    for fold, job in enumerate(fitted):
        say(f"fold {fold}: {job.result()}")
    return models


def _device(device: str, fold: int) -> str:
    """Share all GPUs."""
    if device != "cuda":
        return device
    import torch

    return f"cuda:{fold % torch.cuda.device_count()}"


def _names_in(bout: Path) -> list[str]:
    """Return the templates that a bout made elsewhere says it shows."""
    with np.load(bout, allow_pickle=False) as stored:
        if "templates" not in stored.files:
            raise MatlineError(
                f"{bout} doesn't say which templates it shows; make it again with “templates”."
            )
        return [str(name) for name in stored["templates"]]


def _judge(
    pool: ProcessPoolExecutor,
    condition: Condition,
    models: Sequence[Path],
    tests: Sequence[Path],
    say: Say,
) -> dict[str, Any]:
    c = condition
    asked: list[tuple[str, int, Future[Any]]] = []
    for fold, (model, test) in enumerate(zip(models, tests, strict=True)):
        for start in range(0, len(rows := _test_stills(c, fold)), STILLS_A_JOB // 4):
            some = rows[start : start + STILLS_A_JOB // 4]
            seed = (1, fold, start)
            still = pool.submit(jobs.judge_stills, model, c.unseen, some, seed, c.lift(fold))
            asked.append((STILLS, fold, still))
        for reader in READ_AS if c.test_bouts else ():
            for number in range(len(load_bouts(test))):
                work = (model, test, number, reader, 1 + fold, c.lift(fold))
                bout = pool.submit(jobs.judge_one, *work)
                asked.append((reader, fold, bout))
    figures, folds = {}, {}
    for reader in (*READ_AS, STILLS):
        results = [(fold, job.result()) for name, fold, job in asked if name == reader]
        if results:
            figures[reader] = _figures(reader, [found for _, found in results])
            folds[reader] = [
                _figures(reader, own)["accuracy"]
                for fold in range(FOLDS)
                if (own := [found for of, found in results if of == fold])
            ]
            say(f"judged on {reader}")
    settings = {
        "kind": c.kind, "bouts": c.bouts, "views": c.views, "epochs": c.epochs, "seed": c.seed,
        "pairs": [path.name for path in c.learned.pairs],
        "stills": [path.name for path in c.still_pairs], "named by": c.named_by,
    }  # fmt: skip
    return {"name": c.name, "settings": settings, "figures": figures, "accuracy by fold": folds}


def _figures(reader: str, results: Sequence[Any]) -> dict[str, Any]:
    if reader == STILLS:
        true, told = (np.concatenate(part) for part in zip(*results, strict=True))
        return still_figures(true, told)
    judged: list[Judged] = list(results)
    return figures_of(pooled(reader, judged))


def _test_stills(condition: Condition, fold: int) -> np.ndarray:
    """Draw the pairs of a fold's families that are judged as stills."""
    pairs = load_pairs(*condition.unseen.pairs)
    names = [str(name) for name in pairs.templates]
    learned = set(kept(names, fold))
    rng = np.random.default_rng(fold)
    rows = [
        rng.permutation(np.flatnonzero(pairs.template == i))[: condition.test_stills]
        for i, name in enumerate(names)
        if name not in learned
    ]
    return np.concatenate(rows) if rows else np.zeros(0, int)
