"""Copies for browsers, made while the human already corrects."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from threading import Lock, Thread
from typing import Literal

from pipeline.errors import MatlineError
from pipeline.footage.proxy import make_proxy, needs_proxy
from pipeline.library import Bout, Library
from pipeline.review.pictures import footage_info

State = Literal["ready", "making", "missing", "failed"]


@dataclass
class Playing:
    """Whether a bout's picture can be shown.

    Attributes
    ----------
    state : {"ready", "making", "missing", "failed"}
    share : float
        0–1, how much of a copy is made.
    problem : str
        One sentence, where something is wrong.
    """

    state: State
    share: float = 0.0
    problem: str = ""


class Copies:
    """Makes a copy where a browser can't play the original, one copy at a time.

    Parameters
    ----------
    library : Library
        Gets the copy's path when it is whole.
    """

    def __init__(self, library: Library) -> None:
        self.library = library
        self.folder = library.root / "copies"
        self._making: dict[Path, Playing] = {}
        self._lock = Lock()
        self._one_at_a_time = Lock()

    def playing(self, bout: Bout) -> Playing:
        """Return how far the picture is, and begin a copy where one is needed."""
        if bout.proxy is not None and bout.proxy.is_file():
            return Playing("ready", 1.0)
        if not bout.footage.is_file():
            return Playing("missing", problem=f"The footage {bout.footage.name} is not there.")
        try:
            if not needs_proxy(footage_info(bout.footage)):
                return Playing("ready", 1.0)
        except MatlineError as error:
            return Playing("failed", problem=str(error))
        return self._begin(bout)

    def _begin(self, bout: Bout) -> Playing:
        with self._lock:
            if bout.footage not in self._making:
                self._making[bout.footage] = Playing("making")
                # A daemon: closing the page's server must not wait for an hour of encoding; what
                # is half made goes with its temporary file.
                Thread(target=self._make, args=(bout,), daemon=True).start()
            return self._making[bout.footage]

    def _make(self, bout: Bout) -> None:
        playing = self._making[bout.footage]

        def progress(share: float) -> None:
            playing.share = share

        out = self.folder / f"{bout.content_key or bout.id}.mp4"
        try:
            with self._one_at_a_time:
                if not out.is_file():
                    make_proxy(bout.footage, out, progress)
            self.library.update_bout(bout.id, proxy=out)
            with self._lock:
                del self._making[bout.footage]
        except MatlineError as error:
            playing.state, playing.problem = "failed", str(error)
