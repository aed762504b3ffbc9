"""A real Dask scheduler with two workers: the same outcomes, also when one of them is killed."""

import os
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from concurrent.futures import CancelledError
from contextlib import closing, contextmanager
from pathlib import Path

import numpy as np
import pytest

from pipeline.errors import MatlineError
from pipeline.library import Library
from pipeline.overnight import (
    InThisProcess,
    Order,
    last_summary,
    make_plan,
    read_file,
    run_night,
)
from pipeline.overnight.cluster import DaskCluster
from pipeline.overnight.engine import Task, open_engine
from tests.overnight.figures import FigureReader, make_clip
from tests.overnight.kills import SETTINGS
from tests.overnight.test_engine import complain, double, run


@contextmanager
def program(*arguments: str) -> Iterator[subprocess.Popen]:
    process = subprocess.Popen(
        [sys.executable, "-m", *arguments],
        stderr=subprocess.PIPE,
        text=True,
        env=os.environ | {"PYTHONPATH": os.getcwd()},
    )
    try:
        yield process
    finally:
        process.kill()
        process.wait()


@contextmanager
def scheduler() -> Iterator[tuple[str, subprocess.Popen]]:
    """Start a scheduler; give its address and its program."""
    name = "distributed.cli.dask_scheduler"
    with program(name, "--port", "0", "--no-dashboard", "--host", "127.0.0.1") as process:
        assert process.stderr is not None
        for line in process.stderr:
            if found := re.search(r"tcp://(127\.0\.0\.1:\d+)", line):
                break
        else:
            pytest.fail("the scheduler did not start")
        yield found[1], process


@pytest.fixture(scope="module")
def address():
    with scheduler() as (address, _):
        yield address


def worker(address: str):
    return program(
        "distributed.cli.dask_worker", f"tcp://{address}", "--nthreads", "1", "--no-nanny",
        "--no-dashboard", "--host", "127.0.0.1",
    )  # fmt: skip


def wait_for(cluster: DaskCluster, workers: int) -> None:
    cluster._client.wait_for_workers(workers, timeout=60)


def test_a_cluster_does_what_one_machine_does(address):
    with worker(address), worker(address), closing(open_engine(f"dask://{address}", 1)) as engine:
        wait_for(engine, 2)
        done = run(engine, *(Task(double, (i,), i) for i in range(12)), Task(complain, (), 99))
        assert [outcome.value for outcome in done[:-1]] == [2 * i for i in range(12)]
        assert done[-1].error == "The tape is wet; dry it."


def test_a_worker_killed_in_the_middle_loses_nothing(address):
    with (
        worker(address) as first,
        worker(address),
        closing(open_engine(f"dask://{address}", 1)) as engine,
    ):
        wait_for(engine, 2)
        tasks = [Task(slow_double, (i,), i) for i in range(8)]
        for task in tasks[: engine.free]:
            engine.submit(task)
        given = engine.busy
        time.sleep(0.3)
        first.send_signal(signal.SIGKILL)
        done = run(engine, *tasks[given:])
        assert [outcome.value for outcome in done] == [2 * i for i in range(8)]


def slow_double(x: int) -> int:
    time.sleep(0.3)
    return 2 * x


def kill_after_first_piece(process: subprocess.Popen, root: Path) -> None:
    """Kill a worker as soon as a piece has been read."""
    while not list(root.rglob("*.npz")) and process.poll() is None:
        time.sleep(0.02)
    process.send_signal(signal.SIGKILL)


def test_a_night_on_the_cluster_reads_what_one_machine_reads_though_a_worker_dies(
    address, tmp_path
):
    clip = make_clip(tmp_path / "clip.mp4", 24)
    with (
        worker(address) as first,
        worker(address),
        closing(open_engine(f"dask://{address}", 1)) as engine,
    ):
        wait_for(engine, 2)
        library = Library(tmp_path / "library")
        order = Order(library, SETTINGS, "tests.overnight.kills:SlowReader")
        plan = make_plan(order, [clip], engine)
        killer = threading.Thread(target=kill_after_first_piece, args=(first, library.root))
        killer.start()
        summary = run_night(order, plan, engine)
        killer.join()
    alone = read_file(clip, FigureReader())
    assert [file.became for file in summary.files] == ["read"]
    times, keypoints = library.keypoints(summary.files[0].bouts[0])
    np.testing.assert_array_equal(times, alone.times)
    np.testing.assert_array_equal(keypoints, alone.keypoints)


def test_a_scheduler_that_goes_ends_the_night_with_a_sentence_and_the_next_one_goes_on(tmp_path):
    clip = make_clip(tmp_path / "clip.mp4", 24)
    library = Library(tmp_path / "library")
    order = Order(library, SETTINGS, "tests.overnight.kills:SlowReader")
    with (
        scheduler() as (address, process),
        worker(address),
        closing(open_engine(f"dask://{address}", 1)) as engine,
    ):
        wait_for(engine, 1)
        plan = make_plan(order, [clip], engine)
        killer = threading.Thread(target=kill_after_first_piece, args=(process, library.root))
        killer.start()
        with pytest.raises(MatlineError, match=r"is gone.*goes on where it stopped"):
            run_night(order, plan, engine)
        killer.join()
    assert [file.became for file in last_summary(library.root).summary.files] == ["unfinished"]
    plan = make_plan(order, [clip], InThisProcess())
    assert 0 < plan.left_s < plan.duration_s
    assert [file.became for file in run_night(order, plan, InThisProcess()).files] == ["read"]


@pytest.mark.parametrize("lost", [CancelledError(), ConnectionRefusedError()], ids=repr)
def test_a_scheduler_that_goes_while_an_answer_is_fetched_is_no_file_s_failure(
    address, monkeypatch, lost
):
    def broken_off(future, timeout=None):
        raise lost

    monkeypatch.setattr("pipeline.overnight.cluster.Future.result", broken_off)
    with (
        worker(address),
        closing(open_engine(f"dask://{address}", 1)) as engine,
        pytest.raises(MatlineError, match="is gone"),
    ):
        run(engine, Task(double, (1,), 1))


def test_a_cluster_without_workers_ends_the_night_with_a_sentence(address, monkeypatch):
    monkeypatch.setattr("pipeline.overnight.cluster._UNMANNED_S", 0.5)
    with (
        closing(open_engine(f"dask://{address}", 1)) as engine,
        pytest.raises(MatlineError, match="no worker"),
    ):
        run(engine, Task(double, (1,), 1))


def test_a_task_that_hangs_is_given_up_with_its_worker_and_the_others_are_done(address):
    with worker(address), worker(address), closing(open_engine(f"dask://{address}", 1)) as engine:
        wait_for(engine, 2)
        hanging = Task(time.sleep, (3600,), 0, limit_s=0.5)
        done = run(engine, hanging, *(Task(slow_double, (i,), i) for i in range(1, 9)))
        assert "given up" in done[0].error
        assert [outcome.value for outcome in done[1:]] == [2 * i for i in range(1, 9)]


def test_a_scheduler_that_is_not_there_is_said_in_a_sentence(monkeypatch):
    monkeypatch.setattr("pipeline.overnight.cluster._CONNECT_S", 1)
    with pytest.raises(MatlineError, match=r"No Dask scheduler answers at 127\.0\.0\.1:9"):
        open_engine("dask://127.0.0.1:9", 1)
