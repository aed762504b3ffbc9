"""Solved pairs held still for some seconds, to learn from or to judge by: no bout around them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import pandas as pd

from models.training.positions.data import StoredBout
from models.training.scenes.body import Person
from models.training.scenes.bouts import KeypointArms
from models.training.scenes.motion import Motion, living
from models.training.scenes.pairs_file import Pairs
from models.training.scenes.views import ReaderErrors, skeleton_spheres, view
from pipeline.geometry import features, swap_columns
from pipeline.positions import STATES, PositionModel
from pipeline.positions.calibration import tempered
from pipeline.positions.model import inputs
from pipeline.positions.states import exchanged, joint
from pipeline.positions.windows import GRID_S, REACHES_S, on_grid
from pipeline.timeline import Segment, Timeline

HELD_S = 3.0
RATE_HZ = 10.0
APART_S = 60.0
"""Between pairs whose features are found in one go: farther than any window reaches."""
_MIDDLE = slice(round(0.8 / GRID_S), round(2.2 / GRID_S) + 1)
_SEPARATE = round(max(REACHES_S) / GRID_S)
_TOPS = (None, "A", "B")


def template_states(pairs: Pairs) -> np.ndarray:
    """Return the joint state that templates say each pair shows, ``""`` for none; (N,) of str."""
    positions = pairs.positions[pairs.position]
    return _states(positions.tolist(), [_TOPS[top] for top in pairs.top])


def judged_states(pairs: Pairs, people: Sequence[Person]) -> np.ndarray:
    """Return the joint state that geometry says each pair shows, ``""`` for none; (N,) of str."""
    from models.training.scenes.pose_joints import pair_joints
    from pipeline.positions.judging import judge_poses

    verdicts = judge_poses(pair_joints(pairs, people))
    return _states([v.position or "" for v in verdicts], [v.top for v in verdicts])


def _states(positions: Sequence[str], tops: Sequence[str | None]) -> np.ndarray:
    return np.array(
        [joint(p, top) if p else "" for p, top in zip(positions, tops, strict=True)]  # type: ignore[arg-type]
    )


def held(
    pairs: Pairs, rows: np.ndarray, people: Sequence[Person], rng: np.random.Generator
) -> np.ndarray:
    """Hold pairs still, but alive: keypoints (N, T, 2, 17, 3) metres at `RATE_HZ`."""
    times = np.arange(0, HELD_S + 1e-6, 1 / RATE_HZ)
    sway = np.stack([living(rng, times) for _ in rows])
    world = np.empty((len(rows), len(times), 2, 17, 3), np.float32)
    for body in (0, 1):
        for person in np.unique(pairs.person[rows, body]):
            own = np.flatnonzero(pairs.person[rows, body] == person)
            arms = KeypointArms.of(people[int(person)])
            world[own, :, body] = arms.keypoints(
                _motion(pairs, rows[own], sway[own]), body
            ).reshape(len(own), len(times), 17, 3)
    return world


def _motion(pairs: Pairs, rows: np.ndarray, sway: np.ndarray) -> Motion:
    """Put held pairs after each other: what knows motion then takes all of them at once."""
    count, times = sway.shape[:2]

    def each(values: np.ndarray) -> np.ndarray:
        return np.repeat(values[rows], times, axis=0)

    nothing = np.zeros(count * times)
    return Motion(
        nothing,
        each(pairs.joints) + sway.reshape(count * times, *sway.shape[2:]),
        each(pairs.rotation),
        each(pairs.translation),
        nothing.astype(int),
        nothing,
    )


def seen(
    world: np.ndarray, rng: np.random.Generator, errors: ReaderErrors | None, rate_hz: float | None
) -> Iterator[pd.DataFrame]:
    """See held pairs, each through a camera of its own.

    Parameters
    ----------
    world : ndarray, (N, T, 2, 17, 3)
        As from `held`.
    rng : numpy.random.Generator
    errors : ReaderErrors, optional
        Drawn for each by default, as in training.
    rate_hz : float, optional
        Likewise.

    Yields
    ------
    DataFrame
        The features of each on the grid.
    """
    times, keypoints = [], []
    clock = np.arange(world.shape[1]) / RATE_HZ
    for number, one in enumerate(world):
        bout = StoredBout("", (0, 0), clock, one, skeleton_spheres(one), _NOTHING)
        rate = rate_hz or float(rng.choice([3.3, 5.0, 5.0, 10.0]))
        looked = view(bout, rng, errors or ReaderErrors.draw(rng), rate)
        times.append(number * APART_S + looked.times)
        keypoints.append(looked.keypoints)
    table = features(np.concatenate(times), np.concatenate(keypoints))
    ends = np.cumsum([len(some) for some in times])
    for start, end in zip([0, *ends[:-1]], ends, strict=True):
        yield on_grid(table.iloc[start:end])


_NOTHING = Timeline((Segment(0.0, HELD_S, "standing"),))


def in_context(grids: Sequence[pd.DataFrame]) -> list[np.ndarray]:
    """Return the classifier's inputs for tables on the grid that have nothing to do with others.

    All at once, with as much nothing between them as windows reach.
    """
    nothing = pd.DataFrame(np.nan, index=range(_SEPARATE), columns=grids[0].columns)
    parts = [part for grid in grids for part in (grid, nothing)]
    rows = inputs(pd.concat(parts, ignore_index=True)).to_numpy(np.float32)
    starts = np.cumsum([0, *(len(grid) + _SEPARATE for grid in grids)])
    return [rows[s : s + len(grid)] for s, grid in zip(starts[:-1], grids, strict=True)]


def draw(
    pairs: Pairs,
    states: np.ndarray,
    rows: np.ndarray,
    people: Sequence[Person],
    seed: tuple[int, ...],
    keep: int = 4,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Learn from held pairs, each through one camera and one reader.

    Parameters
    ----------
    pairs : Pairs
    states : ndarray of str, (N,)
        What each pair is.
    rows : ndarray of int
        Which ones; those of no state are passed over.
    people : sequence of Person
    seed : tuple of int
    keep : int
        Samples kept of each.

    Returns
    -------
    x, y, row : ndarray
        Inputs, joint states and the pair that each sample is of.
    """
    rng = np.random.default_rng(seed)
    rows = rows[states[rows] != ""]
    if not len(rows):
        return np.empty((0, 0), np.float32), np.empty(0, "<U1"), np.empty(0, int)
    grids, named = [], []
    for row, grid in zip(rows, seen(held(pairs, rows, people, rng), rng, None, None), strict=True):
        turned = rng.random() < 0.5
        grids.append(swap_columns(grid) if turned else grid)
        named.append(exchanged(str(states[row])) if turned else str(states[row]))
    x, y, of = [], [], []
    for row, state, own in zip(rows, named, in_context(grids), strict=True):
        kept = rng.permutation(len(own))[:keep]
        x.append(own[kept])
        y += [state] * len(kept)
        of += [int(row)] * len(kept)
    return np.concatenate(x), np.array(y), np.array(of)


def told(model: PositionModel, grids: Sequence[pd.DataFrame]) -> np.ndarray:
    """Return what a model makes of held pairs on the whole, (N, `STATES`).

    Means over the middle of the time, in both naming orders of the athletes.
    """
    states = list(STATES)
    both = []
    for order, name in ((grids, str), ([swap_columns(grid) for grid in grids], exchanged)):
        rows = [own[_MIDDLE] for own in in_context(order)]
        ends = np.cumsum([len(own) for own in rows])[:-1]
        told = tempered(model.classifier.predict_proba(np.concatenate(rows)), model.temperature)
        means = np.stack([part.mean(axis=0) for part in np.split(told, ends)])
        table = pd.DataFrame(means, columns=[name(state) for state in model.states])
        both.append(table.reindex(columns=states, fill_value=0.0).to_numpy())
    return (both[0] + both[1]) / 2
