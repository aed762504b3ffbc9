"""Where work is done: in this program, or in worker processes that may die without harm."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from multiprocessing.connection import Connection, wait
from typing import Any, Protocol

from pipeline.errors import MatlineError


@dataclass(frozen=True)
class Task:
    """A function of a module with its arguments, and what it is for.

    Attributes
    ----------
    about : object
        Anything that tells whoever submitted it what the outcome belongs to.
    """

    function: Callable[..., Any]
    arguments: tuple[Any, ...] = ()
    about: Any = None


@dataclass(frozen=True)
class Outcome:
    """What became of a task: its value, or one sentence on why there is none."""

    task: Task
    value: Any = None
    error: str = ""


class Engine(Protocol):
    """Anything that does tasks, several at a time."""

    @property
    def free(self) -> int:
        """How many more tasks it would take now."""
        ...

    @property
    def busy(self) -> int:
        """How many tasks it has in hand."""
        ...

    def submit(self, task: Task) -> None:
        """Take a task."""
        ...

    def finished(self, timeout_s: float) -> list[Outcome]:
        """Wait for tasks to finish, at most so long, and return what became of them."""
        ...

    def close(self) -> None:
        """Let go of the workers; tasks in hand are given up."""
        ...


class InThisProcess:
    """One task at a time, here. Simple, and without containment; for tests and short work."""

    def __init__(self) -> None:
        self._waiting: deque[Task] = deque()

    @property
    def free(self) -> int:
        """One task is taken at a time."""
        return 1 - len(self._waiting)

    @property
    def busy(self) -> int:
        """Tasks not yet done."""
        return len(self._waiting)

    def submit(self, task: Task) -> None:
        """Take a task."""
        self._waiting.append(task)

    def finished(self, timeout_s: float) -> list[Outcome]:
        """Do what was submitted."""
        done = [do(task) for task in self._waiting]
        self._waiting.clear()
        return done

    def close(self) -> None:
        """Nothing to let go of."""


@dataclass
class _Worker:
    process: multiprocessing.process.BaseProcess
    pipe: Connection
    task: Task | None = None
    attempt: int = 1


@dataclass
class LocalProcesses:
    """Worker processes on this machine.

    A task that kills its worker (a fault in a codec, the memory's end) is tried again in a new
    one, then given up with a sentence; the others never notice.

    Parameters
    ----------
    workers : int
    attempts : int
        Times a task is tried when its worker dies.
    """

    workers: int
    attempts: int = 2
    _pool: list[_Worker] = field(default_factory=list)

    @property
    def free(self) -> int:
        """Workers without a task."""
        return self.workers - self.busy

    @property
    def busy(self) -> int:
        """Workers with a task."""
        return sum(worker.task is not None for worker in self._pool)

    def submit(self, task: Task) -> None:
        """Give a task to an idle worker."""
        self._give(task, attempt=1)

    def finished(self, timeout_s: float) -> list[Outcome]:
        """Wait for workers to answer or to die."""
        ready = wait([w.pipe for w in self._pool if w.task is not None], timeout_s)
        outcomes = (self._collect(w) for w in list(self._pool) if w.pipe in ready)
        return [outcome for outcome in outcomes if outcome is not None]

    def close(self) -> None:
        """End all workers at once; what they had in hand is read again next time."""
        for worker in self._pool:
            worker.process.kill()
        for worker in self._pool:
            worker.process.join()
            worker.pipe.close()
        self._pool.clear()

    def _give(self, task: Task, attempt: int) -> None:
        worker = next((w for w in self._pool if w.task is None), None) or self._hire()
        worker.task, worker.attempt = task, attempt
        with suppress(OSError):  # it died idle; `finished` sees the closed pipe
            worker.pipe.send((task.function, task.arguments))

    def _hire(self) -> _Worker:
        # A fresh interpreter: a fork would copy locks and threads of the codecs and networks.
        context = multiprocessing.get_context("spawn")
        ours, theirs = context.Pipe()
        process = context.Process(target=_work, args=(theirs,), daemon=True)
        with one_thread_each(), deaf_to_ctrl_c():
            process.start()
        theirs.close()
        worker = _Worker(process, ours)
        self._pool.append(worker)
        return worker

    def _collect(self, worker: _Worker) -> Outcome | None:
        task, attempt = worker.task, worker.attempt
        assert task is not None
        try:
            value, error = worker.pipe.recv()
        except (EOFError, OSError):
            return self._bury(worker, task, attempt)
        worker.task = None
        return Outcome(task, value, error)

    def _bury(self, worker: _Worker, task: Task, attempt: int) -> Outcome | None:
        worker.process.join()
        worker.pipe.close()
        self._pool.remove(worker)
        if attempt < self.attempts:
            self._give(task, attempt + 1)
            return None
        return Outcome(task, error=_death(worker.process.exitcode))


def _death(code: int | None) -> str:
    how = f"signal {-code}" if code is not None and code < 0 else f"exit code {code}"
    return (
        f"reading it ended the program that read it ({how}), every time it was tried; "
        "the file may be damaged, or memory too small."
    )


def _work(pipe: Connection) -> None:
    """Do tasks until the pipe closes."""
    while True:
        try:
            function, arguments = pipe.recv()
        except EOFError:
            return
        outcome = do(Task(function, arguments))
        try:
            pipe.send((outcome.value, outcome.error))
        except OSError:
            return


def do(task: Task) -> Outcome:
    """Do a task here; any error is its outcome, so that one file never stops the night."""
    try:
        return Outcome(task, task.function(*task.arguments))
    except MatlineError as error:
        return Outcome(task, error=str(error))
    except MemoryError:
        return Outcome(task, error="There is not enough memory; use fewer workers.")
    except Exception as error:
        return Outcome(task, error=f"Unexpected {type(error).__name__}: {error}")


@contextmanager
def deaf_to_ctrl_c() -> Iterator[None]:
    """Let programs started inside ignore Ctrl-C: a terminal sends it to all, only we answer."""
    if threading.current_thread() is not threading.main_thread():  # where Python allows no change
        yield
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


@contextmanager
def one_thread_each() -> Iterator[None]:
    """Let programs started inside use one thread each: workers already fill the machine."""
    names = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
    before = {name: os.environ.get(name) for name in names}
    os.environ.update(dict.fromkeys(names, "1"))
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value


def open_engine(name: str, workers: int, attempts: int = 2) -> Engine:
    """Return an engine by its name.

    Parameters
    ----------
    name : str
        ``"local"``, or ``"dask://host:port"`` for a cluster.
    workers : int
        Of the local engine; a cluster has its own.
    attempts : int
        Times a task is tried when its worker dies; a cluster's scheduler has its own number.

    Raises
    ------
    MatlineError
        If there is no such engine, or the cluster can't be reached.
    """
    if name == "local":
        return LocalProcesses(workers, attempts)
    if name.startswith("dask://"):
        from pipeline.overnight.cluster import DaskCluster

        return DaskCluster(name.removeprefix("dask://"))
    raise MatlineError(f"There is no engine “{name}”; use local or dask://HOST:PORT.")
