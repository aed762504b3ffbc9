"""How reading grows with workers: ``python -m tests.overnight.bench_engines``.

The same night on one worker, on two, and on a Dask cluster of two, each in a program and a library
of its own, on copies of a sample clip that differ only in a word beside the pictures. On a busy
machine the seconds of a core that a minute of footage takes (starting the workers included) say
more than the speed.
"""

from __future__ import annotations

import argparse
import json
import logging
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import av

from pipeline.library import Library
from pipeline.overnight import Engine, LocalProcesses, Order, make_plan, run_night
from pipeline.overnight.engine import one_thread_each
from pipeline.overnight.samples import sample_clip
from pipeline.overnight.work import default_backend

COPIES = 4
ENGINES = ("1 worker", "2 workers", "Dask, 2 workers")


def copy(source: Path, path: Path, word: str) -> None:
    """Write a clip's pictures as they are into a file of its own content."""
    with av.open(str(source)) as given, av.open(str(path), "w") as made:
        made.metadata["comment"] = word
        stream = made.add_stream_from_template(given.streams.video[0])
        for packet in given.demux(given.streams.video[0]):
            if packet.dts is not None:
                packet.stream = stream
                made.mux(packet)


@contextmanager
def engine(name: str) -> Iterator[Engine]:
    """Give an engine, and let go of it with all its workers."""
    if not name.startswith("Dask"):
        with closing(LocalProcesses(int(name[0]))) as workers:
            yield workers
        return
    from distributed import LocalCluster

    from pipeline.overnight.cluster import DaskCluster

    with (
        one_thread_each(),
        LocalCluster(
            n_workers=2, threads_per_worker=1, dashboard_address=None, silence_logs=logging.ERROR
        ) as cluster,
        closing(DaskCluster(cluster.scheduler_address.removeprefix("tcp://"))) as workers,
    ):
        yield workers


def inside(name: str, folder: Path) -> None:
    """Read a folder and print how long it took, how long it is, and the most memory used."""
    with tempfile.TemporaryDirectory() as root, engine(name) as workers:
        order = Order(Library(Path(root)), backend=default_backend())
        plan = make_plan(order, [folder], workers)
        began = time.monotonic()
        summary = run_night(order, plan, workers)
        spent = time.monotonic() - began
    if len(summary.of("read")) != len(plan.files):
        raise SystemExit("\n".join(summary.lines()))
    # The workers have ended by now, so they count: all their work, and the largest one's memory.
    workers_use = resource.getrusage(resource.RUSAGE_CHILDREN)
    own_use = resource.getrusage(resource.RUSAGE_SELF)
    took = {
        "spent_s": spent,
        "footage_s": plan.duration_s,
        "work_s": workers_use.ru_utime + workers_use.ru_stime,
        "worker_mb": workers_use.ru_maxrss / 1024,
        "beside_mb": own_use.ru_maxrss / 1024,
    }
    print(json.dumps(took))


def measure(name: str, folder: Path) -> dict[str, float]:
    """Measure one engine in a program of its own."""
    command = [sys.executable, "-m", "tests.overnight.bench_engines", "--inside", name]
    done = subprocess.run([*command, str(folder)], stdout=subprocess.PIPE, text=True, check=True)
    return json.loads(done.stdout.splitlines()[-1])


def main() -> None:
    """Print one table."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--inside", choices=ENGINES, help=argparse.SUPPRESS)
    arguments.add_argument("--copies", type=int, default=COPIES)
    arguments.add_argument("folder", nargs="?", type=Path, help=argparse.SUPPRESS)
    given = arguments.parse_args()
    if given.inside:
        inside(given.inside, given.folder)
        return
    print(f"{os.cpu_count()} cores, {given.copies} copies of {sample_clip().name}")
    print(
        f"{'engine':<16} {'× real time':>12} {'core s a minute':>16} {'peak a worker':>14} "
        f"{'peak beside':>12} {'load':>5}"
    )
    with tempfile.TemporaryDirectory() as folder:
        for number in range(given.copies):
            copy(sample_clip(), Path(folder) / f"copy {number}.mp4", f"copy {number}")
        for name in ENGINES:
            took = measure(name, Path(folder))
            speed = took["footage_s"] / took["spent_s"]
            work = took["work_s"] / took["footage_s"] * 60
            print(
                f"{name:<16} {speed:>12.1f} {work:>16.0f} {took['worker_mb']:>11.0f} MB "
                f"{took['beside_mb']:>9.0f} MB {os.getloadavg()[0]:>5.1f}",
                flush=True,
            )


if __name__ == "__main__":
    main()
