"""What can be wrong with a file, said before and after the container library has tried it."""

from __future__ import annotations

import os
from pathlib import Path

from pipeline.errors import MatlineError


class FootageError(MatlineError):
    """A file that can't be read as footage or as a picture."""


def check_file(path: Path) -> None:
    """Refuse what is no readable, non-empty file.

    Raises
    ------
    FootageError
        If the path is missing, a directory, no regular file, empty, or may not be read.
    """
    if not path.exists():
        raise FootageError(f"{path}: there is no such file; check the name and the folder.")
    if path.is_dir():
        raise FootageError(f"{path}: this is a folder; give the file inside it.")
    if not path.is_file():
        raise FootageError(f"{path}: this is not a regular file; copy the footage to a file first.")
    if not os.access(path, os.R_OK):
        raise FootageError(f"{path}: no permission to read this file; change its permissions.")
    if path.stat().st_size == 0:
        raise FootageError(f"{path}: the file is empty; copy it from the camera again.")


def why_unreadable(path: Path) -> FootageError:
    """Return the most helpful error for a file that no demuxer could open."""
    boxes = _top_level_boxes(path)
    if "ftyp" in boxes and "moov" not in boxes:
        return FootageError(
            f"{path}: the recording was cut off before its index was written (no “moov” part); "
            "copy it from the camera again, or repair it with a recovery tool."
        )
    return FootageError(
        f"{path}: this is not a video that can be read, or its beginning is damaged; "
        "play it in a media player to check."
    )


def _top_level_boxes(path: Path) -> list[str]:
    """Return the kinds of an ISO base media file's outermost boxes (ISO/IEC 14496-12, 4.2)."""
    kinds: list[str] = []
    size_of_file = path.stat().st_size
    with path.open("rb") as file:
        position = 0
        while position + 8 <= size_of_file and len(kinds) < 1000:
            file.seek(position)
            header = file.read(16)
            size, kind = int.from_bytes(header[:4], "big"), header[4:8]
            if size == 1:
                size = int.from_bytes(header[8:16], "big")
            if not kind.isalnum():
                break
            kinds.append(kind.decode("ascii"))
            if size < 8:
                break
            position += size
    return kinds
