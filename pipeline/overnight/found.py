"""Which files are meant by names, folders and patterns."""

from __future__ import annotations

import glob
import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

VIDEO_SUFFIXES: frozenset[str] = frozenset({
    ".264", ".265", ".3g2", ".3gp", ".asf", ".avi", ".divx", ".dv", ".f4v", ".flv", ".gif", ".h264",
    ".h265", ".hevc", ".ivf", ".m1v", ".m2t", ".m2ts", ".m2v", ".m4v", ".mjpeg", ".mjpg", ".mkv",
    ".mod", ".mov", ".mp4", ".mpeg", ".mpg", ".mts", ".mxf", ".nut", ".ogm", ".ogv", ".qt", ".rm",
    ".tod", ".ts", ".vob", ".webm", ".wmv", ".wtv",
})  # fmt: skip
"""What is taken from a folder; a file that is named is tried whatever it is called."""


@dataclass(frozen=True)
class Found:
    """A file that is meant, or what is left out.

    Attributes
    ----------
    path : Path
        Absolute.
    problem : str
        Why it is left out; empty if it is not.
    size_bytes : int
    """

    path: Path
    problem: str = ""
    size_bytes: int = 0


def find_files(asked: str | Path) -> list[Found]:
    """Return the files meant by a name, a folder (with all that is in it) or a pattern.

    A folder or pattern without any video, and folders that can't be opened, are left out with a
    sentence; the rest is returned all the same.
    """
    if not str(asked):
        return [Found(Path.cwd(), "An empty name stands for no file; name a file or a folder.")]
    try:
        return list(_meant(asked, Path(asked).expanduser()))
    except (OSError, RuntimeError) as error:  # expanduser raises RuntimeError for unknown users
        return [Found(Path(asked).absolute(), f"{asked}: can't be opened ({_reason(error)}).")]


def _meant(asked: str | Path, path: Path) -> Iterator[Found]:
    if path.is_dir():
        yield from _inside(path.absolute())
    elif not path.exists() and glob.has_magic(str(asked)):
        matches = sorted(Path(match) for match in glob.glob(str(path), recursive=True))
        if not matches:
            why = f"{asked}: nothing matches this pattern; check the folder."
            yield Found(path.absolute(), why)
        for match in matches:
            yield from find_files(match)
    else:
        yield Found(path.absolute(), size_bytes=_size(path))


def _inside(folder: Path) -> Iterator[Found]:
    closed: list[OSError] = []
    walk = os.walk(folder, onerror=closed.append)
    paths = (Path(where, name) for where, _, names in walk for name in names)
    videos = sorted(path for path in paths if _is_video(path))
    yield from (Found(path, size_bytes=_size(path)) for path in videos)
    for error in closed:
        where = Path(error.filename)
        yield Found(where, f"{where}: this folder can't be opened ({_reason(error)}).")
    if not videos and not closed:
        yield Found(folder, f"{folder}: there is no video in this folder; name the files.")


def _is_video(path: Path) -> bool:
    hidden = path.name.startswith(".")  # also what other systems leave beside files: "._clip.mp4"
    if hidden or path.suffix.lower() not in VIDEO_SUFFIXES:
        return False
    try:
        return path.is_file()
    except OSError:  # opening it will say what is wrong with it
        return True


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0


def _reason(error: Exception) -> str:
    return (error.strerror if isinstance(error, OSError) else "") or str(error)
