"""How far long work is, and when it will be done."""

from __future__ import annotations

import sys
import time
from typing import TextIO

from pipeline.text import printable

_LINE_EVERY_S = 30.0
"""In a log file, where a line can't be rewritten, one every half minute is enough."""

_REDRAW_EVERY_S = 0.2


class Progress:
    """One line on standard error that says how far the work is; rewritten on a terminal.

    Parameters
    ----------
    what : str
        What is being done.
    out : text stream, optional

    Examples
    --------
    >>> with Progress("Reading") as progress:
    ...     progress(0.0, 60.0)
    """

    def __init__(self, what: str, out: TextIO | None = None) -> None:
        self._what = what
        self._out = out or sys.stderr
        self._live = self._out.isatty()
        self._started: tuple[float, float] | None = None
        self._shown_at = time.monotonic()  # work that is done at once says nothing
        self._width = 0

    def __enter__(self) -> Progress:
        return self

    def __exit__(self, *_: object) -> None:
        if self._live and self._width:
            print("\r" + " " * self._width, end="\r", file=self._out, flush=True)

    def __call__(self, done: float, total: float, what: str | None = None) -> None:
        """Say how far the work is.

        Parameters
        ----------
        done, total : float
            In any unit, the same for both; what was already there when the work began (the first
            call's `done`) doesn't count for the estimate.
        what : str, optional
            What is being done now.
        """
        now = time.monotonic()
        self._what = printable(what) if what else self._what
        if self._started is None:
            self._started = now, done
        if now - self._shown_at < (_REDRAW_EVERY_S if self._live else _LINE_EVERY_S):
            return
        self._shown_at = now
        line = f"{self._what}: {_percent(done, total)}{self._remaining(now, done, total)}"
        if self._live:
            print(f"\r{line:<{self._width}}", end="", file=self._out, flush=True)
            self._width = len(line)
        else:
            print(line, file=self._out, flush=True)

    def _remaining(self, now: float, done: float, total: float) -> str:
        began_at, began_with = self._started or (now, done)
        worked, made = now - began_at, done - began_with
        if worked < 1 or made <= 0 or done >= total:
            return ""
        from pipeline.overnight.clock import length  # by now it is loaded; `--help` needn't wait

        return f", about {length(worked / made * (total - done))} left"


def _percent(done: float, total: float) -> str:
    return f"{min(100, int(100 * done / total))} %" if total > 0 else "0 %"
