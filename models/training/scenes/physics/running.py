"""Work in a pool, in order, until the time is up."""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future
from itertools import islice
from typing import TypeVar

from .stills import pool

In = TypeVar("In")
Out = TypeVar("Out")
_AHEAD = 4


def results(
    work: Callable[[In], Out], orders: Iterable[In], workers: int, seconds: float
) -> Iterator[Out]:
    """Yield the results of orders in their order until the time is up.

    Parameters
    ----------
    work : callable
        Of a module, so that other processes find it.
    orders : iterable
        May be endless.
    workers : int
        Processes; they change nothing in the results.
    seconds : float
        No order is begun after so long.
    """
    ends = time.monotonic() + seconds
    waiting: deque[Future[Out]] = deque()
    coming = iter(orders)
    with pool(workers) as processes:
        while True:
            if time.monotonic() < ends:
                for order in islice(coming, _AHEAD * workers - len(waiting)):
                    waiting.append(processes.submit(work, order))
            else:
                while waiting and waiting[-1].cancel():
                    waiting.pop()
            if not waiting:
                return
            yield waiting.popleft().result()
