"""Where work is done: in this program, or in worker processes that may die without harm."""

from __future__ import annotations

import math
import multiprocessing
import os
import signal
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from queue import Empty, SimpleQueue
from typing import Any, Protocol

from pipeline.errors import MatlineError
from pipeline.overnight.clock import length

_ENDING_S = 5.0
"""Seconds that a killed worker is waited for. One that hangs in the system (a share that is gone)
may end later; nothing waits for it."""

_OWN_PAUSE_S = 30.0
"""Seconds between two looks at the workers after which this program was not running itself."""


@dataclass(frozen=True)
class Task:
    """A function of a module with its arguments, and what it is for.

    Attributes
    ----------
    about : object
        Anything that tells whoever submitted it what the outcome belongs to.
    limit_s : float
        Seconds after which it counts as hanging and is given up.
    """

    function: Callable[..., Any]
    arguments: tuple[Any, ...] = ()
    about: Any = None
    limit_s: float = math.inf


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


@dataclass(eq=False)
class _Worker:
    process: multiprocessing.process.BaseProcess
    pipe: Connection
    task: Task | None = None
    attempt: int = 1
    began_s: float = 0.0

    @property
    def overdue(self) -> bool:
        """Whether its task takes longer than it may."""
        return self.task is not None and time.monotonic() - self.began_s > self.task.limit_s


_Answer = tuple[_Worker, tuple[Any, str] | None]
"""A worker, and a value and an error; None if it died."""


@dataclass
class LocalProcesses:
    """Worker processes on this machine.

    A task that kills its worker (a fault in a codec, the memory's end) is tried again in a new
    one, then given up with a sentence; one that takes longer than its limit is given up with its
    worker. The others never notice.

    Parameters
    ----------
    workers : int
    attempts : int
        Times a task is tried when its worker dies.
    """

    workers: int
    attempts: int = 2
    _pool: list[_Worker] = field(default_factory=list)
    _answers: SimpleQueue[_Answer] = field(default_factory=SimpleQueue)
    _looked_s: float = field(default_factory=time.monotonic)

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
        """Wait for workers to answer, to die, or to take too long."""
        outcomes = [self._collect(*answer) for answer in self._answered(timeout_s)]
        self._forgive_own_pause(timeout_s)
        outcomes += [self._give_up(worker) for worker in list(self._pool) if worker.overdue]
        return [outcome for outcome in outcomes if outcome is not None]

    def close(self) -> None:
        """End all workers at once; what they had in hand is read again next time."""
        for worker in self._pool:
            worker.process.kill()
        for worker in self._pool:
            worker.process.join(_ENDING_S)
        self._pool.clear()

    def _give(self, task: Task, attempt: int) -> None:
        worker = next((w for w in self._pool if w.task is None), None) or self._start()
        worker.task, worker.attempt, worker.began_s = task, attempt, time.monotonic()
        with suppress(OSError):  # it died idle; its listener says so
            worker.pipe.send((task.function, task.arguments))

    def _start(self) -> _Worker:
        # A fresh interpreter: a fork would copy locks and threads of the codecs and networks.
        context = multiprocessing.get_context("spawn")
        ours, theirs = context.Pipe()
        process = context.Process(target=_work, args=(theirs,), daemon=True)
        with one_thread_each(), deaf_to_ctrl_c():
            process.start()
        theirs.close()
        worker = _Worker(process, ours)
        self._pool.append(worker)
        # A thread of its own: a worker stopped in the middle of an answer stops no one else.
        threading.Thread(target=_listen, args=(worker, self._answers), daemon=True).start()
        return worker

    def _forgive_own_pause(self, timeout_s: float) -> None:
        """Count no time against the workers in which this program was stopped too, as by Ctrl-Z."""
        now = time.monotonic()
        paused_s = now - self._looked_s - timeout_s
        if paused_s > _OWN_PAUSE_S:
            for worker in self._pool:
                worker.began_s += min(paused_s, now - worker.began_s)
        self._looked_s = now

    def _answered(self, timeout_s: float) -> Iterator[_Answer]:
        with suppress(Empty):
            if self.busy:
                yield self._answers.get(timeout=timeout_s)
            while True:
                yield self._answers.get_nowait()

    def _collect(self, worker: _Worker, answer: tuple[Any, str] | None) -> Outcome | None:
        task = worker.task
        if answer is None:
            return self._replace(worker)
        worker.task = None
        return Outcome(task, *answer) if task is not None else None

    def _replace(self, worker: _Worker) -> Outcome | None:
        """Do without a dead worker; try its task again, or say what became of it."""
        if worker not in self._pool:  # given up before
            return None
        task = worker.task
        self._let_go(worker)
        if task is None:
            return None
        if worker.attempt < self.attempts:
            self._give(task, worker.attempt + 1)
            return None
        return Outcome(task, error=_death(worker.process.exitcode))

    def _give_up(self, worker: _Worker) -> Outcome:
        task = worker.task
        assert task is not None
        self._let_go(worker)
        return Outcome(task, error=overdue(task.limit_s))

    def _let_go(self, worker: _Worker) -> None:
        self._pool.remove(worker)
        worker.process.kill()
        worker.process.join(_ENDING_S)


def _listen(worker: _Worker, answers: SimpleQueue[_Answer]) -> None:
    """Pass on what a worker answers, until it dies."""
    with suppress(Exception):  # the end of the pipe, or an answer broken off in its middle
        while True:
            answers.put((worker, worker.pipe.recv()))
    worker.process.kill()
    worker.pipe.close()
    answers.put((worker, None))


def overdue(limit_s: float) -> str:
    """Return the sentence for a task that took longer than it may."""
    return (
        f"reading it did not get on for {length(limit_s)}, so it was given up; check its disk or "
        "share, and run the same command again."
    )


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
        return Outcome(task, error=unforeseen(error))


def unforeseen(error: Exception) -> str:
    """Return the sentence for an error that nobody thought of."""
    return (
        f"reading it failed in an unforeseen way ({type(error).__name__}: {error}); it may be "
        "damaged, play it in a media player to check."
    )


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
