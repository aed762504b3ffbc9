"""Whatever a file does to its worker, the others are read."""

import os
import signal
import time
from contextlib import closing
from pathlib import Path

import pytest

from pipeline.errors import MatlineError
from pipeline.overnight.engine import (
    Engine,
    InThisProcess,
    LocalProcesses,
    Outcome,
    Task,
    open_engine,
)


def double(x: int) -> int:
    return 2 * x


def complain() -> None:
    raise MatlineError("The tape is wet; dry it.")


def stumble() -> None:
    raise KeyError("x")


def die() -> None:
    os.kill(os.getpid(), signal.SIGSEGV)


def die_once(marker: Path) -> str:
    if not marker.exists():
        marker.touch()
        die()
    return "survived"


def threads() -> str | None:
    return os.environ.get("OMP_NUM_THREADS")


def run(engine: Engine, *tasks: Task) -> list[Outcome]:
    waiting, done = list(tasks), []
    while waiting or engine.busy:
        while waiting and engine.free:
            engine.submit(waiting.pop(0))
        done += engine.finished(0.1)
    return sorted(done, key=lambda outcome: outcome.task.about)


@pytest.fixture(scope="module")
def local():
    with closing(LocalProcesses(2)) as engine:
        yield engine


def test_every_task_is_done_once(local):
    done = run(local, *(Task(double, (i,), i) for i in range(20)))
    assert [outcome.value for outcome in done] == [2 * i for i in range(20)]


@pytest.mark.parametrize("kind", ["local", "here"])
def test_an_error_is_the_tasks_own_and_stays_a_sentence(local, kind):
    engine = local if kind == "local" else InThisProcess()
    done = run(engine, Task(complain, (), 1), Task(stumble, (), 2), Task(double, (3,), 3))
    assert [outcome.error for outcome in done[::2]] == ["The tape is wet; dry it.", ""]
    assert "unforeseen way (KeyError: 'x')" in done[1].error
    assert done[2].value == 6


def test_a_native_crash_takes_its_own_task_and_no_other(local):
    done = run(
        local, Task(double, (1,), 1), Task(die, (), 2), *(Task(double, (i,), i) for i in (3, 4))
    )
    assert [outcome.value for outcome in done] == [2, None, 6, 8]
    assert f"signal {signal.SIGSEGV.value}" in done[1].error
    assert "every time it was tried" in done[1].error


def test_a_task_is_tried_again_when_its_worker_dies_by_chance(local, tmp_path):
    assert run(local, Task(die_once, (tmp_path / "died",), 1))[0].value == "survived"


def test_a_worker_killed_while_idle_is_replaced(local):
    run(local, *(Task(double, (i,), i) for i in range(2)))
    for worker in local._pool:
        os.kill(worker.process.pid, signal.SIGKILL)
        worker.process.join()
    assert [o.value for o in run(local, Task(double, (5,), 1), Task(double, (6,), 2))] == [10, 12]


def test_workers_use_one_thread_each_and_leave_the_environment_alone(local):
    before = os.environ.get("OMP_NUM_THREADS")
    assert run(local, Task(threads, (), 1))[0].value == "1"
    assert os.environ.get("OMP_NUM_THREADS") == before


def test_no_worker_outlives_the_program_that_hired_it():
    engine = LocalProcesses(1)
    run(engine, Task(double, (1,), 1))
    process = engine._pool[0].process
    engine.submit(Task(time.sleep, (60,), 1))
    engine.close()
    assert not process.is_alive()


def test_an_unknown_engine_is_refused():
    with pytest.raises(MatlineError, match="dask://HOST:PORT"):
        open_engine("steam", 1)
