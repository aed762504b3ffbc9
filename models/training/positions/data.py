"""Bouts on disk, and what the model learns from them.

A bout is kept as its true skeletons and its true timeline; every reading of it draws a new
camera and new reader's errors.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import cache
from multiprocessing import get_context
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from models.training.scenes.arrays_file import write_arrays
from models.training.scenes.events import find_moments
from models.training.scenes.pose import PosedPair
from models.training.scenes.views import ReaderErrors, View, skeleton_spheres, view
from pipeline.errors import MatlineError
from pipeline.geometry import features, swap_columns
from pipeline.positions.model import inputs
from pipeline.positions.states import exchanged, joint
from pipeline.positions.windows import on_grid
from pipeline.timeline import Timeline
from pipeline.timeline.records import timeline_from_json, timeline_to_json

if TYPE_CHECKING:
    from models.training.positions.readings import BoutReading

QUICK_STEPS = 12
"""Of settling, for training: skeletons need less than pictures, and more bouts say more than
finer ones. Bouts to judge by are given 40."""
CHOICE = 6
"""Solved pairs of a family that a bout chooses from. The nearest of many would always be much
like the pose before; of a few, all come to be used."""


@dataclass(frozen=True, eq=False)
class StoredBout:
    """A bout's skeletons and truth; arrays as in `models.training.scenes.bouts.Bout`."""

    name: str
    who: tuple[int, int]
    times: np.ndarray
    keypoints: np.ndarray
    spheres: np.ndarray
    timeline: Timeline

    def save(self, folder: Path) -> None:
        """Write one file, atomically."""
        arrays = {
            "who": np.array(self.who),
            "times": self.times,
            "keypoints": self.keypoints.astype(np.float32),
            # Spheres only decide what hides what: 1 mm is plenty.
            "spheres": self.spheres.astype(np.float16),
            "timeline": np.array(timeline_to_json(self.timeline)),
        }
        write_arrays(folder / f"{self.name}.npz", arrays)

    @classmethod
    def load(cls, path: Path) -> StoredBout:
        """Read what `save` or `models.training.scenes.played.Played.save` wrote.

        Moments are found anew, by the definitions as they are now.
        """
        with np.load(path, allow_pickle=False) as stored:
            data = {name: stored[name] for name in ("who", "times", "keypoints", "timeline")}
            spheres = stored["spheres"].astype(np.float32) if "spheres" in stored.files else None
        return cls.of(path.stem, data, spheres)

    @classmethod
    def of(
        cls, name: str, data: Mapping[str, np.ndarray], spheres: np.ndarray | None = None
    ) -> StoredBout:
        """Build from arrays as kept on disk; whole numbers are millimetres.

        What hides what is guessed from the skeletons where there are no spheres.
        """
        keypoints, times = data["keypoints"].astype(np.float32), data["times"]
        if data["keypoints"].dtype.kind == "i":
            keypoints /= 1000
        segments = timeline_from_json(str(data["timeline"])).segments
        return cls(
            name,
            (int(data["who"][0]), int(data["who"][1])),
            times,
            keypoints,
            skeleton_spheres(keypoints) if spheres is None else spheres,
            Timeline(segments, find_moments(times, keypoints, segments)),
        )


UNSEEN = Path(__file__).with_name("unseen.npz")
"""Bouts that no shipped model was trained on; keypoints only, 5 samples a second."""
UNSEEN_READ = UNSEEN.with_name("unseen_read.npz")
"""Filmed bouts of people no shipped model was trained on, as the readers read them."""


def pack_bouts(bouts: Sequence[StoredBout], path: Path, every: int = 2) -> None:
    """Write keypoints (whole millimetres) and truth of many bouts into one small file."""
    arrays: dict[str, np.ndarray] = {}
    for bout in bouts:
        arrays[f"{bout.name}/who"] = np.array(bout.who)
        arrays[f"{bout.name}/times"] = bout.times[::every]
        arrays[f"{bout.name}/keypoints"] = np.round(1000 * bout.keypoints[::every]).astype(np.int16)
        arrays[f"{bout.name}/timeline"] = np.array(timeline_to_json(bout.timeline))
    write_arrays(path, arrays)


def _unpack(path: Path) -> list[StoredBout]:
    with np.load(path, allow_pickle=False) as stored:
        names = sorted({name.split("/")[0] for name in stored.files})
        fields = ("who", "times", "keypoints", "timeline")
        return [
            StoredBout.of(n, {field: stored[f"{n}/{field}"] for field in fields}) for n in names
        ]


def load_bouts(folder: str | Path) -> list[StoredBout]:
    """Read all bouts of a folder, in the order of their names, or of a file of `pack_bouts`.

    What hides what in packed bouts is guessed from their skeletons.

    Raises
    ------
    MatlineError
        If there are none.
    """
    if Path(folder).is_file():
        return _unpack(Path(folder))
    paths = sorted(Path(folder).glob("*.npz"))
    if not paths:
        raise MatlineError(
            f"There are no bouts in {folder}; make some with "
            "“python -m models.training.positions bouts”."
        )
    return [StoredBout.load(path) for path in paths]


@dataclass(frozen=True)
class Order:
    """One bout to be made."""

    seed: int
    who: tuple[int, int]
    seconds: float
    cast: Path
    pairs: Path
    folder: Path
    steps: int = QUICK_STEPS


def make_bouts(orders: Sequence[Order], workers: int) -> Iterator[str]:
    """Make and store bouts, several at a time; those already there are left alone.

    Yields
    ------
    str
        The name of each bout when it is there.
    """
    waiting = [o for o in orders if not (o.folder / f"{_name(o)}.npz").exists()]
    yield from (_name(o) for o in orders if o not in waiting)
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        yield from pool.map(_make, waiting)


def _name(order: Order) -> str:
    return f"bout-{order.seed:05d}"


@cache
def _material(cast: Path, pairs: Path):  # type: ignore[no-untyped-def]
    import torch

    from models.training.scenes.body import load_cast
    from models.training.scenes.families import family_of
    from models.training.scenes.pairs_file import load_pairs

    torch.set_num_threads(1)
    by_family: dict[str, list[PosedPair]] = {}
    for pair in load_pairs(pairs):
        if pair.position:
            by_family.setdefault(family_of(pair.template), []).append(pair)
    return load_cast(cast), by_family


def _some(pairs: Mapping[str, list[PosedPair]], rng: np.random.Generator) -> Iterator[PosedPair]:
    for _, found in sorted(pairs.items()):
        for i in rng.permutation(len(found))[:CHOICE]:
            yield found[i]


def _make(order: Order) -> str:
    from models.training.scenes.bouts import library_for, make_bout
    from models.training.scenes.settle import SettleSettings

    cast, pairs = _material(order.cast, order.pairs)
    library = library_for(_some(pairs, np.random.default_rng((order.seed, 2))), order.who)
    quick = SettleSettings(steps=order.steps)
    bout = make_bout(order.seed, cast, order.who, library, order.seconds, settings=quick)
    stored = StoredBout(
        _name(order), bout.who, bout.times, bout.keypoints, bout.spheres, bout.timeline
    )
    stored.save(order.folder)
    return stored.name


def labels_at(timeline: Timeline, times: np.ndarray) -> np.ndarray:
    """Return the true joint state at each time; the last segment's at and after the end."""
    starts = np.array([segment.start_s for segment in timeline.segments])
    states = np.array([joint(s.position, s.top) for s in timeline.segments])
    return states[np.clip(np.searchsorted(starts, times, side="right") - 1, 0, None)]


def read_bout(bout: StoredBout, rng: np.random.Generator, errors: ReaderErrors) -> View:
    """See a bout through a random camera at 3 to 10 samples a second."""
    return view(bout, rng, errors, rate_hz=float(rng.choice([3.3, 5.0, 5.0, 10.0])))


@dataclass(frozen=True)
class Samples:
    """What a classifier is fitted on: rows of `inputs`, joint states, and names of bouts."""

    x: np.ndarray
    y: np.ndarray
    group: np.ndarray

    @classmethod
    def draw(
        cls, bouts: Sequence[StoredBout], seed: int, views: int, every: int = 1, workers: int = 1
    ) -> Samples:
        """Read every bout several times, in either naming order of the athletes.

        Parameters
        ----------
        bouts : sequence of StoredBout
        seed : int
        views : int
            Cameras a bout.
        every : int
            Keep every n-th sample only; neighbours say nearly the same.
        workers : int
            Processes; they change nothing in the result.
        """
        jobs = [(bout, (seed, number), views, every) for number, bout in enumerate(bouts)]
        if workers == 1:
            drawn = [draw(*job) for job in jobs]
        else:
            with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
                drawn = list(pool.map(draw, *zip(*jobs, strict=True)))
        return cls.joined([cls.of(bout.name, *d) for bout, d in zip(bouts, drawn, strict=True)])

    @classmethod
    def of_readings(cls, readings: Sequence[BoutReading]) -> Samples:
        """Take filmed bouts as read, once in each naming order of the athletes."""
        parts = []
        for reading in readings:
            grid = on_grid(features(reading.times, reading.keypoints))
            truth = labels_at(reading.timeline, grid.index.to_numpy())
            for table, states in (
                (grid, truth),
                (swap_columns(grid), np.array([exchanged(state) for state in truth])),
            ):
                parts.append(cls.of(reading.name, inputs(table).to_numpy(np.float32), states))
        return cls.joined(parts)

    @classmethod
    def joined(cls, parts: Sequence[Samples]) -> Samples:
        """Put samples together."""
        columns = ([getattr(part, name) for part in parts] for name in ("x", "y", "group"))
        return cls(*(np.concatenate(column) for column in columns))

    @classmethod
    def of(cls, name: str, x: np.ndarray, y: np.ndarray) -> Samples:
        """Take rows and states of one bout."""
        return cls(x, y, np.full(len(y), name))


def draw(
    bout: StoredBout, seed: tuple[int, ...], views: int, every: int
) -> tuple[np.ndarray, np.ndarray]:
    """Read one bout several times: rows of `inputs` and joint states; see `Samples.draw`."""
    rng = np.random.default_rng(seed)
    rows, states = [], []
    for _ in range(views):
        seen = read_bout(bout, rng, ReaderErrors.draw(rng))
        grid = on_grid(features(seen.times, seen.keypoints))
        truth = labels_at(bout.timeline, grid.index.to_numpy())
        if rng.random() < 0.5:
            grid = swap_columns(grid)
            truth = np.array([exchanged(state) for state in truth])
        first = int(rng.integers(every))
        rows.append(inputs(grid).to_numpy(np.float32)[first::every])
        states.append(truth[first::every])
    return np.concatenate(rows), np.concatenate(states)
