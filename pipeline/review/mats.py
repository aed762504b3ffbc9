"""Choosing the mat that counts: for one footage file, or for all of the same camera."""

from __future__ import annotations

from pathlib import Path

from pipeline.bodies import Mat
from pipeline.command import command
from pipeline.errors import MatlineError
from pipeline.library import Bout, Library, default_root
from pipeline.review.pictures import NotHereError, footage_info
from pipeline.settings import Corners
from pipeline.text import printable


def footage_key(bout: Bout) -> str:
    """Return the key of a bout's footage, looked up where the library has none."""
    if bout.content_key or not bout.footage.is_file():
        return bout.content_key
    return footage_info(bout.footage).key


def neighbours(library: Library, bout: Bout) -> list[Bout]:
    """Return one bout of every other footage file in the same folder."""
    found = {
        one.content_key: one
        for one in library.bouts()
        if one.footage.parent == bout.footage.parent and one.content_key
    }
    found.pop(footage_key(bout), None)
    return list(found.values())


def keep_mat(library: Library, bout: Bout, corners: Corners, same_camera: bool) -> list[Bout]:
    """Keep the mat of a bout's footage; return one bout of each file it was kept for.

    Parameters
    ----------
    same_camera : bool
        Also for the other files in its folder whose pictures are as large.

    Raises
    ------
    MatlineError
        If the corners are no mat in this picture; nothing is kept then.
    """
    info = footage_info(bout.footage)
    if corners:
        box = Mat(corners).bounds
        if not (box.x0 < info.width and box.y0 < info.height and box.x1 > 0 and box.y1 > 0):
            raise MatlineError(
                f"The mat lies outside the picture of {info.width} × {info.height} pixels."
            )
    size = (info.width, info.height)
    others = neighbours(library, bout) if same_camera else []
    chosen = [bout, *(one for one in others if _picture_size(one) == size)]
    for one in chosen:
        library.set_mat(footage_key(one), corners)
    return chosen


def how_to_read_again(library: Library, bouts: list[Bout]) -> str:
    """Return the command that reads these bouts' footage with their new mat, from any folder."""
    again = ["--again"] if corrected(library, bouts) else []
    own = library.root.absolute() == default_root().absolute()
    where: list[str | Path] = [] if own else ["--library", library.root.absolute()]
    files = [one.footage.absolute() for one in bouts]
    return printable(command("read", *files, *again, *where))


def corrected(library: Library, bouts: list[Bout]) -> int:
    """Count the corrected bouts in the footage of these; reading it again sets them aside."""
    held = {one.id: one for bout in bouts for one in (bout, *library.find(footage_key(bout)))}
    return sum(one.revision > 0 for one in held.values())


def _picture_size(bout: Bout) -> tuple[int, int] | None:
    try:
        info = footage_info(bout.footage)
    except (NotHereError, MatlineError):
        return None
    return info.width, info.height
