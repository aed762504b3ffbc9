"""The same work on a Dask cluster: many machines that see the same footage and library folder."""

from __future__ import annotations

import logging
import time
from concurrent.futures import CancelledError
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

from pipeline.errors import MatlineError
from pipeline.overnight.engine import Outcome, Task, do, overdue

try:
    from distributed import Client, Future, wait
    from distributed.scheduler import KilledWorker
except ImportError as missing:
    raise MatlineError(
        "A cluster needs Dask; install it with `pip install 'matline[cluster]'`."
    ) from missing

_QUEUED_A_THREAD = 2
"""Tasks given out for each thread of the cluster: one in hand and one waiting, so that no worker
waits for us, and stopping leaves little to finish."""

_CONNECT_S = 10

_UNMANNED_S = 60.0
"""Seconds without any worker after which nobody is expected to come."""


class EngineLost(MatlineError):
    """The cluster is no longer there. What was read is kept."""


@dataclass(frozen=True)
class _Given:
    task: Task
    at_s: float

    @property
    def overdue(self) -> bool:
        """Whether it takes too long, even if another task was in front of it."""
        return time.monotonic() - self.at_s > _QUEUED_A_THREAD * self.task.limit_s


class DaskCluster:
    """Workers of a Dask scheduler. Start them with one thread each: ``--nthreads 1``.

    Parameters
    ----------
    address : str
        ``"host:port"`` of the scheduler.

    Raises
    ------
    MatlineError
        If no scheduler answers.
    """

    def __init__(self, address: str) -> None:
        # Its warnings and tracebacks would drown the one sentence that says what happened.
        for name in ("distributed", "tornado"):
            logging.getLogger(name).setLevel(logging.CRITICAL)
        self._address = address
        try:
            self._client = Client(f"tcp://{address}", timeout=_CONNECT_S)
        except (OSError, TimeoutError, ValueError) as error:
            raise MatlineError(
                f"No Dask scheduler answers at {address}; start one with `dask scheduler`, and "
                "check host and port."
            ) from error
        self._given: dict[Future, _Given] = {}
        self._manned_s = time.monotonic()

    @property
    def free(self) -> int:
        """How many more tasks the cluster should be given; it may grow and shrink meanwhile."""
        return max(1, _QUEUED_A_THREAD * self._threads()) - len(self._given)

    @property
    def busy(self) -> int:
        """Tasks given out."""
        return len(self._given)

    def submit(self, task: Task) -> None:
        """Give a task to the cluster."""
        future = self._client.submit(_do, task.function, task.arguments, pure=False)
        self._given[future] = _Given(task, time.monotonic())

    def finished(self, timeout_s: float) -> list[Outcome]:
        """Wait for the cluster to finish something.

        Raises
        ------
        EngineLost
            If the scheduler is gone, or has had no workers for a minute.
        """
        if not self._given:
            return []
        self._threads()
        try:
            done = wait(list(self._given), timeout=timeout_s, return_when="FIRST_COMPLETED").done
        except (TimeoutError, CancelledError):
            done = {future for future in self._given if future.done()}
        if any(future.cancelled() for future in done):
            raise self._gone()
        try:
            outcomes = [_collected(self._given[future].task, future) for future in done]
        except (CancelledError, OSError, TimeoutError) as error:  # it went just now
            raise self._gone() from error
        for future in done:
            del self._given[future]
        hanging = [future for future, given in self._given.items() if given.overdue]
        return outcomes + [self._give_up(future) for future in hanging]

    def close(self) -> None:
        """Give up what is not finished and leave; the cluster stays."""
        with suppress(Exception):  # it may be gone already
            self._client.cancel(list(self._given))
        with suppress(Exception):
            self._client.close(timeout=_CONNECT_S)

    def _threads(self) -> int:
        """Return how many threads the cluster has now."""
        if self._client.status != "running":
            raise self._gone()
        try:
            count = sum(self._client.nthreads().values())
        except (OSError, TimeoutError, RuntimeError, ValueError) as error:
            raise self._gone() from error
        if count:
            self._manned_s = time.monotonic()
        elif time.monotonic() - self._manned_s > _UNMANNED_S:
            raise EngineLost(
                f"The Dask scheduler at {self._address} has had no worker for {_UNMANNED_S:.0f} s; "
                f"start some with `dask worker tcp://{self._address} --nthreads 1`, and run the "
                "same command again, it goes on where it stopped."
            )
        return count

    def _gone(self) -> EngineLost:
        return EngineLost(
            f"The Dask scheduler at {self._address} is gone; start it and its workers, and run the "
            "same command again, it goes on where it stopped."
        )

    def _give_up(self, future: Future) -> Outcome:
        """Do without a task that hangs, and without its worker: no other task gets past it."""
        task = self._given.pop(future).task
        with suppress(Exception):
            where = [name for name, keys in self._client.processing().items() if future.key in keys]
            future.cancel()
            if where:
                self._client.retire_workers(where, close_workers=True)
        return Outcome(task, error=overdue(task.limit_s))


def _do(function: Any, arguments: tuple[Any, ...]) -> tuple[Any, str]:
    outcome = do(Task(function, arguments))
    return outcome.value, outcome.error


def _collected(task: Task, future: Future) -> Outcome:
    try:
        value, error = future.result()
    except KilledWorker:
        return Outcome(
            task,
            error="reading it ended every worker that tried; the file may be damaged, or memory "
            "too small.",
        )
    except (CancelledError, OSError, TimeoutError):
        raise
    except Exception as failure:
        return Outcome(task, error=f"The cluster gave it up ({type(failure).__name__}: {failure}).")
    return Outcome(task, value, error)
