"""A library shows people, often minors: nobody but its owner may look into it."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

from pipeline.library.atomic import is_private

FOLDERS: tuple[str, ...] = ("readings", "backups", "chunks", "copies", "review", "models")
OWN: tuple[str, ...] = (*FOLDERS, "library.sqlite3*", "last_night.json", "speeds.json", "*.lock")
"""What a library puts into its folder; anything else there is the user's, and left alone."""


def keep_private(root: Path) -> None:
    """Let only the owner read what a library holds, also what an earlier version left open.

    The folder itself is closed too, unless something of the user's own lies in it: a library may
    have been put into a folder that others use.
    """
    if os.name != "posix":
        return
    own = {path for pattern in OWN for path in root.glob(pattern)}
    if own >= set(root.iterdir()):
        _close(root)
    for name in FOLDERS:  # made before anything is put into them, which then is private too
        with suppress(OSError):
            (root / name).mkdir(mode=0o700)
    for path in own:
        # What lies in a closed folder was closed with it, and what came later was made private.
        if path.is_dir() and not is_private(path):
            for one in _inside(path):
                _close(one)
        _close(path)


def _inside(folder: Path) -> Iterator[Path]:
    for place, folders, files in os.walk(folder):
        yield from (Path(place) / name for name in (*folders, *files))


def _close(path: Path) -> None:
    # Another program may just have removed it, and a library on a read-only disk stays as it is.
    with suppress(OSError):
        mode = stat.S_IMODE(path.lstat().st_mode)
        if mode & 0o077 and not path.is_symlink():
            path.chmod(mode & 0o700)
