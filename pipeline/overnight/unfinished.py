"""What runs that were killed left behind half-written."""

from __future__ import annotations

from contextlib import suppress
from itertools import chain
from pathlib import Path

from pipeline.locks import try_lock

_PARTS = (
    "chunks/*/.*.part", "copies/.*.part", ".last_night.json.*.part", ".speeds.json.*.part",
)  # fmt: skip


def remove_unfinished(root: Path) -> None:
    """Remove what was never finished: pieces, copies for browsers, lists.

    For whoever holds the library's reading lock. A copy that the page is making just now is locked
    by it, and stays.
    """
    for part in chain.from_iterable(map(root.glob, _PARTS)):
        with suppress(OSError):
            with part.open("r+b") as file:
                unused = try_lock(file)
            if unused:
                part.unlink()
