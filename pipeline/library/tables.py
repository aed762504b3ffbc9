"""Keypoints, features and probabilities as Parquet files."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from pipeline.bodies import COCO_KEYPOINTS
from pipeline.errors import MatlineError
from pipeline.library.atomic import written_whole
from pipeline.timeline import ATHLETES

TIME = "time_s"
KEYPOINT_COLUMNS: tuple[str, ...] = tuple(
    f"{athlete}_{keypoint}_{value}"
    for athlete in ATHLETES
    for keypoint in COCO_KEYPOINTS
    for value in ("x", "y", "confidence")
)
"""One column a number, in the order of the array ``(2, 17, 3)`` laid flat."""


def keypoint_table(times: np.ndarray, keypoints: np.ndarray) -> pd.DataFrame:
    """Return keypoints as a table, one row a sample.

    Parameters
    ----------
    times : ndarray, float64, (T,)
        Seconds from the first picture.
    keypoints : ndarray, float32, (T, 2, 17, 3)
        x, y in source pixels, confidence 0–1; NaN where not seen.
    """
    times = np.asarray(times, dtype=np.float64)
    if keypoints.shape != (len(times), 2, len(COCO_KEYPOINTS), 3):
        raise MatlineError(
            f"Keypoints of shape {keypoints.shape} don't belong to {len(times)} samples; "
            f"they must be ({len(times)}, 2, {len(COCO_KEYPOINTS)}, 3)."
        )
    flat = keypoints.astype(np.float32).reshape(len(times), len(KEYPOINT_COLUMNS))
    return pd.DataFrame(flat, index=pd.Index(times, name=TIME), columns=list(KEYPOINT_COLUMNS))


def keypoint_array(table: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Return times ``(T,)`` and keypoints ``(T, 2, 17, 3)`` of a `keypoint_table`."""
    flat = table[list(KEYPOINT_COLUMNS)].to_numpy(dtype=np.float32, copy=True)
    return table.index.to_numpy(dtype=np.float64), flat.reshape(-1, 2, len(COCO_KEYPOINTS), 3)


def write_table(table: pd.DataFrame, path: Path) -> None:
    """Write a table indexed by time, whole or not at all."""
    table = table.rename_axis(TIME)
    with written_whole(path) as part:
        pq.write_table(pa.Table.from_pandas(table), part, compression="zstd")


def read_table(path: Path, columns: Sequence[str] = ()) -> pd.DataFrame:
    """Read what `write_table` wrote.

    Parameters
    ----------
    path : Path
    columns : sequence of str, optional
        Which must be there.

    Raises
    ------
    MatlineError
        If the file is missing or damaged, or isn't such a table.
    """
    try:
        # Opened by us: Arrow would take a folder of that name for a table of many files.
        with path.open("rb") as file:
            table = pq.read_table(file).to_pandas()
    except FileNotFoundError as error:
        raise MatlineError(f"{path} is missing; read the footage again.") from error
    # Damage may show as anything: a length no memory holds, text that isn't UTF-8, a strange type.
    except (OSError, pa.ArrowException, ValueError, TypeError, KeyError, MemoryError) as error:
        raise MatlineError(f"{path} is damaged; read the footage again.") from error
    if table.index.name != TIME or not _all_numbers(table) or not set(columns) <= set(table):
        raise MatlineError(
            f"{path} isn't a table of samples by time that matline wrote; read the footage again."
        )
    return table


def _all_numbers(table: pd.DataFrame) -> bool:
    kinds = {table.index.dtype.kind, *(dtype.kind for dtype in table.dtypes)}
    return kinds <= set("fiub") and bool(table.index.is_monotonic_increasing)
