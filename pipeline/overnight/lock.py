"""One reader a library at a time, held by the system so that a crash lets go of it."""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from pipeline.errors import MatlineError
from pipeline.locks import try_lock

_LOOK_AGAIN_S = 1.0


@contextmanager
def reading_lock(root: Path, wait: bool = False, until: float | None = None) -> Iterator[None]:
    """Be the only one that reads footage into a library; correcting goes on meanwhile.

    Parameters
    ----------
    root : Path
        Of the library.
    wait : bool
        Wait for another one to end instead of refusing.
    until : float, optional
        Wall-clock time (seconds since the epoch) after which to wait no longer.

    Raises
    ------
    MatlineError
        If another one holds the lock and is not to be waited for; says which.
    """
    path = root / "reading.lock"
    with path.open("a+", encoding="utf-8") as file:
        while not try_lock(file):
            if not wait or (until is not None and time.time() >= until):
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


def _holder(file: IO[str]) -> str:
    file.seek(0)
    return file.read().strip() or "process unknown"
