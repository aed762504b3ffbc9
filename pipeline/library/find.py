"""A bout by what a person calls it."""

from __future__ import annotations

from pipeline.errors import MatlineError
from pipeline.library.bout import Bout
from pipeline.library.library import Library


def find_bout(library: Library, asked: str) -> Bout:
    """Return the bout of an id, or of a title that only one has.

    Raises
    ------
    MatlineError
        If there is none, or several have the title.
    """
    bouts, name = library.bouts(), asked.strip().casefold()
    found = [b for b in bouts if b.id == asked] or [b for b in bouts if b.title.casefold() == name]
    if len(found) == 1:
        return found[0]
    if found:
        ids = ", ".join(b.id for b in found)
        raise MatlineError(f"{len(found)} bouts are called “{asked}”; say which by id: {ids}.")
    raise MatlineError(
        f"No bout “{asked}” in the library {library.root}; `matline bouts` lists them."
    )
