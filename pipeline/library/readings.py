"""The measured part of readings: a folder of Parquet files each."""

from __future__ import annotations

import shutil
from collections.abc import Mapping
from pathlib import Path

import pandas as pd

from pipeline.library.tables import KEYPOINT_COLUMNS, read_table, write_table


class ReadingFiles:
    """The folders of all readings.

    Parameters
    ----------
    root : Path
        Of the library.
    """

    def __init__(self, root: Path) -> None:
        self._root = root / "readings"

    def save(self, reading: str, tables: Mapping[str, pd.DataFrame]) -> None:
        """Write the tables of a new reading, all or none."""
        try:
            for name, table in tables.items():
                write_table(table, self._root / reading / f"{name}.parquet")
        except BaseException:
            self.remove(reading)
            raise

    def load(self, reading: str, name: str) -> pd.DataFrame:
        """Return one table.

        Raises
        ------
        MatlineError
            If its file is missing, damaged or holds something else.
        """
        path = self._root / reading / f"{name}.parquet"
        return read_table(path, KEYPOINT_COLUMNS if name == "keypoints" else ())

    def any(self) -> bool:
        """Return whether anything was read, whatever the database says."""
        return self._root.is_dir() and any(self._root.iterdir())

    def has(self, reading: str, name: str) -> bool:
        """Return whether a reading has this table; some have no scores."""
        return (self._root / reading / f"{name}.parquet").exists()

    def remove(self, reading: str) -> None:
        """Remove a reading's folder, if it is there."""
        shutil.rmtree(self._root / reading, ignore_errors=True)


def remove_traces(root: Path, content_key: str) -> None:
    """Remove what else was kept of a footage file: read pieces, and copies for browsers."""
    for path in (*root.glob(f"chunks/{content_key}-*"), *root.glob(f"copies/{content_key}.*")):
        if path.is_dir():
            shutil.rmtree(path, ignore_errors=True)
        else:
            path.unlink(missing_ok=True)
