"""What worker processes do: make and see bouts and stills, fit a fold, judge by it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
from threadpoolctl import threadpool_limits

from models.training.positions.data import Samples, StoredBout, draw, load_bouts
from models.training.positions.evaluate import READERS, Judged, Read, judge_bout
from models.training.positions.families import fitting, making, stills
from models.training.positions.train import Recipe, fit
from models.training.scenes.arrays_file import write_arrays
from models.training.scenes.views import ReaderErrors, view
from pipeline.geometry.pair_lift import use
from pipeline.positions import PositionModel

STILL_CAMERAS = 4
STILL_ERRORS = ReaderErrors(noise_m=0.03)
RATE_HZ = 5.0


def learn_made(order: making.Order, views: int, to: Path, lift: Path | None = None) -> None:
    """Make a bout, see it several times and keep the samples."""
    use(lift)
    learn_bout(making.make(order), order.seed, views, to)


def learn_stored(path: Path, seed: int, views: int, to: Path) -> None:
    """Keep samples of a bout made elsewhere."""
    use(None)
    learn_bout(StoredBout.load(path), seed, views, to)


def learn_bout(bout: StoredBout, seed: int, views: int, to: Path) -> None:
    """See a bout several times and keep the samples."""
    x, y = draw(bout, (seed, 7), views, Recipe.every)
    write_arrays(to, {"x": x, "y": y}, compressed=False)


def learn_stills(
    source: making.Source, rows: np.ndarray, named_by: str, seed: tuple[int, ...], to: Path
) -> None:
    """See pairs held still and keep the samples, and which pair each is of."""
    use(None)
    found = making.material(source)
    some = found.pairs.where(rows)
    if named_by == "judge":
        states = stills.judged_states(some, found.people)
    else:
        states = stills.template_states(some)
    x, y, of = stills.draw(some, states, np.arange(len(rows)), found.people, seed)
    write_arrays(to, {"x": x, "y": y, "row": rows[of]}, compressed=False)


@dataclass(frozen=True)
class Fold:
    """What one fold's model is fitted on.

    Attributes
    ----------
    bouts, stills : tuple of Path
        Files of samples.
    rows : ndarray, bool
        Whether each pair may be learned from as a still.
    model : Path
        File to write.
    kind, device : str
    threads, epochs, seed : int
    """

    bouts: tuple[Path, ...]
    stills: tuple[Path, ...]
    rows: np.ndarray
    model: Path
    kind: str
    device: str
    threads: int
    epochs: int
    seed: int


def fit_fold(fold: Fold) -> str:
    """Fit and calibrate a fold's model, save it, and say how that went."""
    import torch

    torch.set_num_threads(fold.threads)
    parts = []
    for path in fold.bouts:
        with np.load(path, allow_pickle=False) as stored:
            parts.append(Samples.of(path.stem, stored["x"], stored["y"]))
    for path in fold.stills:
        with np.load(path, allow_pickle=False) as stored:
            usable = fold.rows[stored["row"]]
            if usable.any():
                of = np.char.add("still-", stored["row"][usable].astype(str))
                parts.append(Samples(stored["x"][usable], stored["y"][usable], of))
    recipe = Recipe(epochs=fold.epochs, seed=fold.seed)
    fitter = fitting.fit_boosting
    if fold.kind == "network":
        fitter = fitting.NetworkFitter(fold.device, fold.threads)
    said: list[str] = []
    with threadpool_limits(fold.threads):
        model = fit(Samples.joined(parts), recipe, said.append, fitter)
    model.save(fold.model)
    torch.set_num_threads(1)
    return " ".join(said)


_model = lru_cache(maxsize=2)(PositionModel.load)
_bouts = lru_cache(maxsize=2)(load_bouts)


def judge_one(
    model: Path, bouts: Path, number: int, reader: str, seed: int, lift: Path | None = None
) -> Judged:
    """Judge one bout of a file by a model."""
    use(lift)
    bout = _bouts(bouts)[number]
    seen = view(bout, np.random.default_rng((seed, number)), READERS[reader], RATE_HZ)
    return judge_bout(_model(model), Read(bout.timeline, seen.times, seen.keypoints))


def judge_stills(
    model: Path,
    source: making.Source,
    rows: np.ndarray,
    seed: tuple[int, ...],
    lift: Path | None = None,
) -> tuple[np.ndarray, np.ndarray]:
    """Judge pairs held still: true states (N,) and what a model makes of them (N, `STATES`)."""
    use(lift)
    found = making.material(source)
    some = found.pairs.where(np.repeat(rows, STILL_CAMERAS))
    rng = np.random.default_rng(seed)
    world = stills.held(some, np.arange(len(some)), found.people, rng)
    grids = list(stills.seen(world, rng, STILL_ERRORS, RATE_HZ))
    return stills.template_states(some), stills.told(_model(model), grids)
