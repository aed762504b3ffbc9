"""Files written whole or not at all, and as private as the folder they lie in."""

from __future__ import annotations

import errno
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from pipeline.errors import MatlineError
from pipeline.timeline import new_id


@contextmanager
def written_whole(path: Path) -> Iterator[Path]:
    """Give a temporary path to write to; on leaving, it takes the place of `path`.

    Parameters
    ----------
    path : Path
        The final file; its folder is made. In a private folder, both are private too.

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
        check_target(path)
        make_folder(path.parent)
        yield part
        if is_private(path.parent):
            part.chmod(0o600)
        _flush(part)
        os.replace(part, path)
    except OSError as error:
        raise could_not_write(path, error) from error
    finally:
        with suppress(OSError):
            part.unlink(missing_ok=True)


def append_text(path: Path, text: str, durable: bool = True) -> None:
    """Add lines to a file; if `durable`, return only when the disk has them.

    Raises
    ------
    MatlineError
        If the disk is full or the file can't be written.
    """
    try:
        make_folder(path.parent)
        mode = 0o600 if is_private(path.parent) else 0o666
        handle = os.open(path, os.O_WRONLY | os.O_APPEND | os.O_CREAT, mode)
        with open(handle, "a", encoding="utf-8") as file:
            file.write(text)
            file.flush()
            if durable:
                os.fsync(handle)
    except OSError as error:
        raise could_not_write(path, error) from error


def check_target(path: Path) -> None:
    """Say before long work that its result could not be written there.

    Raises
    ------
    MatlineError
        If `path` is a folder, or something on the way to it is a file.
    """
    if path.is_dir():
        raise MatlineError(f"{path} is a folder; give the name of a file in it.")
    check_folder(path.parent)


def check_folder(folder: Path) -> None:
    """Say before long work that a folder can't be one.

    Raises
    ------
    MatlineError
        If it, or something on the way to it, is a file.
    """
    for place in (folder, *folder.parents):
        if place.exists():
            if not place.is_dir():
                raise MatlineError(f"{place} is a file, not a folder; choose another place.")
            return


def make_folder(folder: Path) -> None:
    """Make a folder and those above it; inside a private one they are private."""
    missing = [place for place in (folder, *folder.parents) if not place.exists()]
    for place in reversed(missing):
        place.mkdir(mode=0o700 if is_private(place.parent) else 0o777, exist_ok=True)


def is_private(folder: Path) -> bool:
    """Return whether only its owner can look into a folder."""
    return os.name == "posix" and folder.stat().st_mode & 0o077 == 0


def could_not_write(path: Path, error: OSError) -> MatlineError:
    """Return the sentence for a write that failed."""
    if error.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
        return MatlineError(f"The disk is full: can't write {path}; make room and try again.")
    if isinstance(error, PermissionError) or error.errno == errno.EROFS:
        return MatlineError(f"Not allowed to write {path}; choose another place.")
    return MatlineError(f"Can't write {path}: {error.strerror or error}.")


def _flush(path: Path) -> None:
    """Put the content on the disk before the name: a power cut then leaves old or new."""
    with path.open("rb") as file:
        os.fsync(file.fileno())
