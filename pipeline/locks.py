"""Locks on files, held by the system so that a crash lets go of them."""

from __future__ import annotations

import os
from typing import IO, Any

if os.name == "nt":
    import msvcrt

    _FAR = 1 << 62  # Windows locks bytes, and locked ones can't be written: one that no file has

    def _lock(file: IO[Any]) -> None:
        file.seek(_FAR)
        msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]
else:
    import fcntl

    def _lock(file: IO[Any]) -> None:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)


def try_lock(file: IO[Any]) -> bool:
    """Lock an open file until it is closed; return False if another program holds it."""
    try:
        _lock(file)
    except OSError:
        return False
    return True
