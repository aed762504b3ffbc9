"""Temporal context: each sample sees what came shortly before and after it.

Works on a fixed grid of times, so that 3 or 10 samples a second look alike to the model.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from pipeline.geometry.pair_lift import GRID_S

REACHES_S = (0.4, 1.2)
"""Half-widths of the windows whose mean, spread and change are features."""


def on_grid(features: pd.DataFrame) -> pd.DataFrame:
    """Interpolate features at every `GRID_S` seconds; NaN stays NaN for longer holes.

    Parameters
    ----------
    features : DataFrame, index = time in seconds

    Returns
    -------
    DataFrame
        Index = grid times from the first to (at least) the last sample.
    """
    times = features.index.to_numpy(dtype=float)
    grid = times[0] + GRID_S * np.arange(int(np.ceil((times[-1] - times[0]) / GRID_S - 1e-9)) + 1)
    nearest = _nearest(times, grid)
    before = np.clip(np.searchsorted(times, grid + 1e-9, side="right") - 1, 0, len(times) - 1)
    after = np.minimum(before + 1, len(times) - 1)
    gap = times[after] - times[before]
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.where(gap > 0, (grid - times[before]) / gap, 0.0).clip(0, 1)[:, None]
    values = features.to_numpy(dtype=float)
    mixed = (1 - share) * values[before] + share * values[after]
    mixed = np.where(np.isnan(mixed), values[nearest], mixed)
    mixed[np.abs(times[nearest] - grid) > 1.0] = np.nan
    return pd.DataFrame(mixed, index=grid, columns=features.columns)


def _nearest(times: np.ndarray, wanted: np.ndarray) -> np.ndarray:
    after = np.clip(np.searchsorted(times, wanted), 1, max(len(times) - 1, 1))
    after = np.minimum(after, len(times) - 1)
    before = np.maximum(after - 1, 0)
    nearer = np.abs(times[before] - wanted) <= np.abs(times[after] - wanted)
    return np.where(nearer, before, after)


def with_context(grid: pd.DataFrame, columns: Sequence[str]) -> pd.DataFrame:
    """Add means and spreads around each sample, and how much changes across it.

    Parameters
    ----------
    grid : DataFrame
        As from `on_grid`.
    columns : sequence of str
        Which ones get context.

    Returns
    -------
    DataFrame, float32
        The grid's columns, then ``…@0.4`` (mean), ``…~0.4`` (standard deviation) and
        ``…>0.4`` (mean after minus mean before) for each reach.
    """
    # Mirrors of each other are written in one frame, so that swapping columns stays possible.
    parts = [grid]
    some = grid[list(columns)]
    for reach in REACHES_S:
        steps = round(reach / GRID_S)
        around = some.rolling(2 * steps + 1, center=True, min_periods=1)
        before = some.rolling(steps + 1, min_periods=1).mean()
        after = some[::-1].rolling(steps + 1, min_periods=1).mean()[::-1]
        parts += [
            around.mean().add_suffix(f"@{reach}"),
            around.std(ddof=0).add_suffix(f"~{reach}"),
            (after - before).add_suffix(f">{reach}"),
        ]
    return pd.concat(parts, axis=1).astype(np.float32)


def at_times(grid: pd.DataFrame, times: np.ndarray) -> pd.DataFrame:
    """Interpolate grid values (no NaN) linearly at given times."""
    columns = {
        name: np.interp(times, grid.index.to_numpy(dtype=float), grid[name]) for name in grid
    }
    return pd.DataFrame(columns, index=pd.Index(times, name="time_s"))
