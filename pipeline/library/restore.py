"""Putting a damaged library back."""

from __future__ import annotations

from pathlib import Path

from pipeline.library.backups import Backups, Restored
from pipeline.library.library import Library, default_root


def restore(root: Path | None = None) -> Restored:
    """Put the newest sound copy of a library's database back, with all that was said after it.

    The damaged file stays beside it under another name.

    Parameters
    ----------
    root : Path, optional
        The library's folder; by default the user's own.

    Raises
    ------
    MatlineError
        If there is no sound copy.
    """
    root = default_root() if root is None else Path(root)
    restored = Backups(root / "library.sqlite3").restore()
    Library(root).count_again()
    return restored
