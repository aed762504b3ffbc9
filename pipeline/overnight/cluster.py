"""The same work on a Dask cluster: many machines that see the same footage and library folder."""

from __future__ import annotations

from concurrent.futures import CancelledError
from typing import Any

from pipeline.errors import MatlineError
from pipeline.overnight.engine import Outcome, Task, do

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
        try:
            self._client = Client(f"tcp://{address}", timeout=_CONNECT_S)
        except (OSError, TimeoutError, ValueError) as error:
            raise MatlineError(
                f"No Dask scheduler answers at {address}; start one with `dask scheduler`, and "
                "check host and port."
            ) from error
        self._tasks: dict[Future, Task] = {}

    @property
    def free(self) -> int:
        """How many more tasks the cluster should be given; it may grow and shrink meanwhile."""
        threads = sum(self._client.nthreads().values())
        return max(1, _QUEUED_A_THREAD * threads) - len(self._tasks)

    @property
    def busy(self) -> int:
        """Tasks given out."""
        return len(self._tasks)

    def submit(self, task: Task) -> None:
        """Give a task to the cluster."""
        future = self._client.submit(_do, task.function, task.arguments, pure=False)
        self._tasks[future] = task

    def finished(self, timeout_s: float) -> list[Outcome]:
        """Wait for the cluster to finish something."""
        if not self._tasks:
            return []
        try:
            done = wait(list(self._tasks), timeout=timeout_s, return_when="FIRST_COMPLETED").done
        except TimeoutError:
            return []
        return [_collected(self._tasks.pop(future), future) for future in done]

    def close(self) -> None:
        """Give up what is not finished and leave; the cluster stays."""
        self._client.cancel(list(self._tasks))
        self._client.close()


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
    except (CancelledError, Exception) as failure:
        return Outcome(task, error=f"The cluster gave it up ({type(failure).__name__}: {failure}).")
    return Outcome(task, value, error)
