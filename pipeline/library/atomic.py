"""Files written whole or not at all."""

from __future__ import annotations

import errno
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from pipeline.errors import MatlineError
from pipeline.timeline import new_id


@contextmanager
def written_whole(path: Path) -> Iterator[Path]:
    """Give a temporary path to write to; on leaving, it takes the place of `path`.

    Parameters
    ----------
    path : Path
        The final file; its folder is made.

    Raises
    ------
    MatlineError
        If the disk is full or the folder can't be written; `path` is then as it was.

    Examples
    --------
    >>> with written_whole(Path("notes.txt")) as part:  # doctest: +SKIP
    ...     part.write_text("all of it")
    """
    part = path.with_name(f".{path.name}.{new_id()}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        yield part
        _flush(part)
        os.replace(part, path)
    except OSError as error:
        raise could_not_write(path, error) from error
    finally:
        part.unlink(missing_ok=True)


def could_not_write(path: Path, error: OSError) -> MatlineError:
    """Return the sentence for a write that failed."""
    if error.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
        return MatlineError(f"The disk is full: can't write {path}; make room and try again.")
    if isinstance(error, PermissionError):
        return MatlineError(f"Not allowed to write {path}; choose another place.")
    return MatlineError(f"Can't write {path}: {error.strerror or error}.")


def _flush(path: Path) -> None:
    """Put the content on the disk before the name: a power cut then leaves old or new."""
    with path.open("rb") as file:
        os.fsync(file.fileno())
