"""Readers by name. Their libraries are only loaded when one is made."""

from __future__ import annotations

from collections.abc import Callable

from pipeline.bodies.bundle import bundle_is_whole, bundle_path
from pipeline.bodies.look import BodyReader
from pipeline.errors import MatlineError


def _pair(threads: int | None) -> BodyReader:
    from pipeline.bodies.pair import PairReader

    return PairReader(threads=threads)


def _mediapipe(threads: int | None) -> BodyReader:
    from pipeline.bodies.mediapipe import MediaPipeReader

    return MediaPipeReader()  # its number of threads can't be set


def pair_weights_are_there() -> bool:
    """Whether the pair reader's weights came with this installation."""
    from pipeline.bodies.pair import FINDER_WEIGHTS, READER_WEIGHTS, weights_path

    return all(weights_path(name).is_file() for name in (READER_WEIGHTS, FINDER_WEIGHTS))


def _mediapipe_is_there() -> bool:
    return bundle_is_whole(bundle_path())


READERS: dict[str, tuple[Callable[[int | None], BodyReader], Callable[[], bool]]] = {
    "pair": (_pair, pair_weights_are_there),
    "mediapipe": (_mediapipe, _mediapipe_is_there),
}
"""How to make each reader, and whether what it needs is there; the best one first."""


def make_reader(name: str | None = None, threads: int | None = None) -> BodyReader:
    """Return a body reader.

    Parameters
    ----------
    name : str, optional
        One of `READERS`; the first whose files are there by default.
    threads : int, optional
        Threads it may use, where it can be told; 1 when several run side by side.

    Raises
    ------
    MatlineError
        If there is no such reader, or its files are missing.
    """
    if name is None:
        name = next((n for n, (_, is_there) in READERS.items() if is_there()), "mediapipe")
    if name not in READERS:
        known = ", ".join(READERS)
        raise MatlineError(f"There is no reader “{name}”; use one of {known}.")
    return READERS[name][0](threads)
