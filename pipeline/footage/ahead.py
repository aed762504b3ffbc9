"""Taking the next picture in a thread while this one is being looked at."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

T = TypeVar("T")

_END = object()


def ahead(things: Iterator[T]) -> Iterator[T]:
    """Yield what an iterator yields, each taken while the one before is in use.

    Decoding and networks both let go of Python's lock, so one program keeps two cores busy.

    Parameters
    ----------
    things : iterator
        Runs in one other thread, from its start to its end. An error it raises is raised here, in
        its place; if it is a generator and this one is closed early, so is that.
    """
    with ThreadPoolExecutor(1) as thread:
        try:
            coming = thread.submit(next, things, _END)
            while (thing := coming.result()) is not _END:
                coming = thread.submit(next, things, _END)
                yield thing  # type: ignore[misc]
        finally:
            thread.submit(getattr(things, "close", lambda: None))
