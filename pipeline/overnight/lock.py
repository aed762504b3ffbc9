"""One reader a library at a time, held by the system so that a crash lets go of it."""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from pipeline.errors import MatlineError

if os.name == "nt":
    import msvcrt

    def _try_lock(file: IO[str]) -> None:
        msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]
else:
    import fcntl

    def _try_lock(file: IO[str]) -> None:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)


_LOOK_AGAIN_S = 1.0


@contextmanager
def reading_lock(root: Path, wait: bool = False) -> Iterator[None]:
    """Be the only one that reads footage into a library; correcting goes on meanwhile.

    Parameters
    ----------
    root : Path
        Of the library.
    wait : bool
        Wait for another one to end instead of refusing.

    Raises
    ------
    MatlineError
        If another one holds the lock and `wait` is False; says which.
    """
    path = root / "reading.lock"
    with path.open("a+", encoding="utf-8") as file:
        while not _locked(file):
            if not wait:
                raise MatlineError(
                    f"Another matline ({_holder(file)}) is reading into the library {root}; "
                    "wait for it to end, or say --wait."
                )
            time.sleep(_LOOK_AGAIN_S)
        file.seek(0)
        file.truncate()
        file.write(f"process {os.getpid()}\n")
        file.flush()
        yield


def _locked(file: IO[str]) -> bool:
    try:
        _try_lock(file)
    except OSError:
        return False
    return True


def _holder(file: IO[str]) -> str:
    file.seek(0)
    return file.read().strip() or "process unknown"
