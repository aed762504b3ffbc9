"""Features → how likely each position is, and who is on top."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from zipfile import ZIP_DEFLATED, ZipFile

import numpy as np
import pandas as pd

from pipeline.errors import MatlineError
from pipeline.geometry import FEATURE_NAMES, LIFTED_NAMES, LOOKS_NAMES, swap_columns
from pipeline.positions.calibration import outvoted, tempered
from pipeline.positions.states import STATES, exchanged
from pipeline.positions.windows import GRID_S, REACHES_S, at_times, on_grid, with_context
from pipeline.settings import PositionsSettings
from pipeline.timeline import coarse

TRUSTED_TYPES: tuple[str, ...] = ("numpy.dtype",)
"""What a model file may hold beyond what skops trusts by itself; anything else is refused."""

_SCALE_BOUND = ("trunk_length", "confidence", "seen", "_m")
"""Endings of columns that say more about the camera and the reader than about the pair."""

LARGEST_BYTES = 64 << 20
"""Of a model file, packed or unpacked: thirty times what one has. A small file may unpack to all
the memory there is."""
MODEL_FILE = "positions.skops"

BLOCK = 3000
"""Grid rows read at once, 10 minutes: memory stays flat in the length of the footage."""


def model_columns() -> list[str]:
    """Return the feature columns that the model uses."""
    bare = (name.removesuffix("_rate") for name in FEATURE_NAMES)
    measured = [
        name for name, b in zip(FEATURE_NAMES, bare, strict=True) if not b.endswith(_SCALE_BOUND)
    ]
    return [*measured, *LIFTED_NAMES]


@dataclass(frozen=True)
class PositionModel:
    """A calibrated classifier of joint states.

    Attributes
    ----------
    classifier : scikit-learn classifier
        Of states seen as if athlete A were either; input as `inputs` gives it.
    states : tuple of str
        Its classes, in order.
    temperature : float
        Log probabilities are divided by it, so that confidences are honest.
    version : str
        Says what it was trained on.

    Examples
    --------
    >>> model = PositionModel.load()                            # doctest: +SKIP
    >>> probabilities = model.predict(features(times, keypoints))  # doctest: +SKIP
    """

    classifier: Any
    states: tuple[str, ...]
    temperature: float = 1.0
    version: str = ""

    @classmethod
    def load(cls, path: str | Path | None = None) -> PositionModel:
        """Read a model file; the one that comes with Matline by default.

        Raises
        ------
        MatlineError
            If the file is missing, damaged, too large, or holds types that are not trusted.
        """
        import skops.io  # seconds to import, and workers that read bodies never need it

        path = Path(path) if path is not None else shipped_model()
        if not path.is_file():
            raise MatlineError(
                f"There is no position model at {path}; train one with "
                "“python -m models.training.positions train”."
            )
        try:
            _check_size(path)
            strange = set(skops.io.get_untrusted_types(file=path)) - set(TRUSTED_TYPES)
            if strange:
                raise MatlineError(
                    f"{path} holds types that are not trusted ({', '.join(sorted(strange))}); "
                    "use a model file that Matline wrote."
                )
            stored = skops.io.load(path, trusted=list(TRUSTED_TYPES))
            return cls(
                stored["classifier"],
                tuple(stored["states"]),
                float(stored["temperature"]),
                str(stored["version"]),
            )
        except MatlineError:
            raise
        except Exception as error:
            raise MatlineError(
                f"{path} is not a readable position model ({error}); write it again."
            ) from error

    def save(self, path: str | Path) -> None:
        """Write the model as a skops file, atomically."""
        import skops.io

        path = Path(path)
        stored = {
            "classifier": self.classifier,
            "states": list(self.states),
            "temperature": float(self.temperature),
            "version": self.version,
        }
        handle, temporary = tempfile.mkstemp(dir=path.parent, suffix=".skops")
        os.close(handle)
        try:
            skops.io.dump(stored, temporary, compression=ZIP_DEFLATED)
            os.replace(temporary, path)
        except BaseException:
            Path(temporary).unlink(missing_ok=True)
            raise

    def predict(
        self,
        features: pd.DataFrame,
        scores: pd.DataFrame | None = None,
        settings: PositionsSettings | None = None,
    ) -> pd.DataFrame:
        """Say how likely each joint state is at each sample.

        Both naming orders of the athletes are read and averaged, so that exchanging A and B
        exchanges the answer and nothing else.

        Parameters
        ----------
        features : DataFrame
            As from `pipeline.geometry.features`.
        scores : DataFrame, optional
            The body reader's own scores: same index, columns = positions or joint states.
        settings : PositionsSettings, optional

        Returns
        -------
        DataFrame
            Index as given; columns `STATES`; rows sum to 1. A sample in which nothing was seen
            is undecided: all states equally likely.

        Raises
        ------
        MatlineError
            If a feature column is missing or times don't increase.
        """
        settings = settings or PositionsSettings()
        if features.empty:
            return pd.DataFrame(columns=list(STATES), index=features.index, dtype=float)
        times = features.index.to_numpy(dtype=float)
        grid = on_grid(_checked(features))
        both = self._probabilities(grid), self._probabilities(swap_columns(grid))
        mean = (both[0] + both[1].rename(columns=exchanged)[list(STATES)]) / 2
        result = at_times(mean, times)
        result = _with_looks(result, features, settings.looks_weight)
        if scores is not None:
            result = _with_scores(result, scores, settings.reader_weight)
        unseen = features["pair_gap"].isna() & features[["a_seen", "b_seen"]].max(axis=1).le(0)
        result[unseen.to_numpy()] = 1 / len(STATES)
        return result.set_axis(features.index, axis=0)

    def _probabilities(self, grid: pd.DataFrame) -> pd.DataFrame:
        parts = [self.classifier.predict_proba(part) for part in _in_blocks(grid)]
        raw = np.concatenate(parts)
        values = tempered(raw, self.temperature)
        table = pd.DataFrame(values, index=grid.index, columns=list(self.states))
        return table.reindex(columns=list(STATES), fill_value=0.0)


def _check_size(path: Path) -> None:
    with ZipFile(path) as packed:
        unpacked = sum(entry.file_size for entry in packed.infolist())
    if max(unpacked, path.stat().st_size) > LARGEST_BYTES:
        raise MatlineError(
            f"{path} is larger than any position model ({LARGEST_BYTES >> 20} MB); "
            "use a model file that Matline wrote."
        )


def shipped_model() -> Path:
    """Path of the model that comes with Matline."""
    from importlib.resources import files

    return Path(str(files("models").joinpath(MODEL_FILE)))


def inputs(grid: pd.DataFrame) -> pd.DataFrame:
    """Turn features on the grid into what the classifier sees.

    Parameters
    ----------
    grid : DataFrame
        As from `windows.on_grid`.
    """
    used = model_columns()
    context = [name for name in used if not name.endswith("_rate")]
    return with_context(grid[used], context)


def _in_blocks(grid: pd.DataFrame) -> Iterator[np.ndarray]:
    """Yield the classifier's inputs block by block: with context they are large."""
    reach = round(max(REACHES_S) / GRID_S)
    for start in range(0, len(grid), BLOCK):
        first = max(start - reach, 0)
        block = inputs(grid.iloc[first : start + BLOCK + reach])
        yield block.iloc[start - first : start - first + BLOCK].to_numpy()


def _checked(features: pd.DataFrame) -> pd.DataFrame:
    missing = [name for name in model_columns() if name not in features.columns]
    if missing:
        raise MatlineError(
            f"Features: column “{missing[0]}” is missing; make the table with "
            "pipeline.geometry.features."
        )
    times = features.index.to_numpy(dtype=float)
    if not np.isfinite(times).all() or (np.diff(times) <= 0).any():
        raise MatlineError("Features: times must be finite and increase from row to row.")
    return features


def _with_looks(probabilities: pd.DataFrame, features: pd.DataFrame, weight: float) -> pd.DataFrame:
    """Multiply by what the lifted pair looks like (`LOOKS_NAMES`), to the power of `weight`."""
    votes = weight * looks_votes(features, list(probabilities.columns))
    values = outvoted(probabilities.to_numpy(), votes)
    return pd.DataFrame(values, index=probabilities.index, columns=probabilities.columns)


def looks_votes(features: pd.DataFrame, states: Sequence[str]) -> np.ndarray:
    """Return what the lift says for joint states, as logarithms (N, states); 0 where nothing."""
    column = dict(zip(STATES, LOOKS_NAMES, strict=True))
    said = features.reindex(columns=[column[state] for state in states])
    return np.log(10) * said.fillna(0.0).to_numpy()


def _with_scores(probabilities: pd.DataFrame, scores: pd.DataFrame, weight: float) -> pd.DataFrame:
    """Multiply by the reader's scores to the power of `weight` and normalise.

    A reader that tells positions only votes for both joint states of a position alike; a row of
    NaN says nothing.
    """
    votes = weight * log_votes(scores.reindex(probabilities.index), list(probabilities.columns))
    values = outvoted(probabilities.to_numpy(), votes)
    return pd.DataFrame(values, index=probabilities.index, columns=probabilities.columns)


def log_votes(scores: pd.DataFrame, states: Sequence[str]) -> np.ndarray:
    """Return what a body reader's own scores say for joint states.

    Parameters
    ----------
    scores : DataFrame
        Columns = positions or joint states; a row of NaN says nothing.
    states : sequence of str

    Returns
    -------
    ndarray, (N, states)
        Logarithms; 0 where nothing is said.
    """
    columns = list(scores.columns)
    said = scores[[_column_for(state, columns) for state in states]]
    return np.asarray(np.log(said.clip(lower=1e-3).fillna(1.0).to_numpy()))


def _column_for(state: str, columns: Sequence[str]) -> str:
    for name in (state, coarse(state)):
        if name in columns:
            return name
    raise MatlineError(
        f"Reader scores: there is no column for “{coarse(state)}”; give one for every position."
    )
