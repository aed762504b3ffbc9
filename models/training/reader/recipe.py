"""The whole recipe as one command: bodies → positions → pictures → both networks.

Rendering and training on the same GPUs starve each other, so the reader trains when all pictures
are there; but what takes it minutes to get ready for (compiling, taking in crops) it does
meanwhile. Every step skips what an earlier, interrupted run has already made.
"""

from __future__ import annotations

import json
import subprocess
import sys
import time
from dataclasses import asdict, dataclass
from pathlib import Path

SCENES = [sys.executable, "-m", "models.training.scenes"]
READER = [sys.executable, "-m", "models.training.reader"]
TRY = ["--capacity", "4000", "--first-crops", "8", "--batch", "8"]
"""Without a GPU a run only shows that all steps work."""
ENOUGH = 40
"""Shards, of 1,000 pictures each, that the finder waits for."""


@dataclass(frozen=True)
class Plan:
    """Sizes and times of a run.

    Attributes
    ----------
    workers : int
        Processes for solving and rendering.
    gpus : int
        GPUs to share; 0 runs everything on the CPU.
    solve_s, render_s : float
        Seconds to solve positions and to render training pictures.
    train_min, find_min : float
        Minutes to train the reader and the finder.
    per_template : int
        Pairs to try of each template, at most.
    held_out : int
        Pictures of unseen bodies, poses and looks to measure on; of all families.
    leave_out_fold : int or None
        Whose families no training picture shows.
    """

    workers: int = 30
    gpus: int = 1
    solve_s: float = 200
    render_s: float = 420
    train_min: float = 14
    find_min: float = 4
    per_template: int = 1200
    held_out: int = 6000
    long_side: int = 512
    seed: int = 1
    leave_out_fold: int | None = None


def run_recipe(
    plan: Plan, out: Path, start: Path | None, cast: Path, held_cast: Path, textures: Path | None
) -> None:
    """Run every step that is not done yet.

    Parameters
    ----------
    plan : Plan
    out : Path
        Folder for everything made on the way and for the weights.
    start : Path or None
        Folder of the published MoveNet MultiPose files, or of exported networks to go on from.
    cast, held_cast : Path
        Bodies to train on, and bodies never trained on.
    textures : Path or None
    """
    out.mkdir(parents=True, exist_ok=True)
    (out / "plan.json").write_text(json.dumps(asdict(plan), indent=1))
    folders = ["--shards", str(out / "train_shards"), "--held-out", str(out / "held_shards")]
    folders += ["--out", str(out / "weights")]
    options = ["--minutes", str(plan.train_min), "--seed", str(plan.seed)]
    options += ["--after", str(out / "train_rendered"), *([] if plan.gpus else TRY)]
    command = [*_launcher(plan.gpus), "read", *folders, *_starting(start), *options]
    reader = _start(out / "read.log", command)
    try:
        _solve(plan, out, cast, held_cast)
        if reader.poll() is not None:  # better to hear of it now than after rendering
            _finish(reader)
        few = max(plan.workers // 10, 1)
        held = _render(plan, out, "held", held_cast, textures, few)
        main = _render(plan, out, "train", cast, textures, plan.workers - few)
        _finish(held)
        finder = _finder(plan, out, [*folders, *_starting(start)], main)
        _finish(main)
        _finish(finder, reader)
    finally:
        reader.terminate()


def _finder(plan: Plan, out: Path, options: list[str], rendering: _Job | None) -> _Job | None:
    """Start training the finder as soon as there are frames enough for it."""
    if (out / "weights" / "pair_finder.npz").is_file():
        return None
    shards = out / "train_shards"
    while rendering and rendering.poll() is None and len(list(shards.glob("*.npz"))) < ENOUGH:
        time.sleep(2)
    device = ["--device", "cuda:0"] if plan.gpus else []
    command = [*READER, "find", *options, "--minutes", str(plan.find_min), *device]
    return _start(out / "find.log", command)


def _starting(start: Path | None) -> list[str]:
    return ["--initial", str(start)] if start else []


def _launcher(gpus: int) -> list[str]:
    if gpus < 2:
        return READER
    torchrun = [sys.executable, "-m", "torch.distributed.run", "--standalone"]
    return [*torchrun, f"--nproc-per-node={gpus}", "-m", "models.training.reader"]


def _solve(plan: Plan, out: Path, cast: Path, held_cast: Path) -> None:
    device = "cuda" if plan.gpus else "cpu"
    jobs = []
    few = max(plan.workers // 10, 1)
    for name, people, workers, seed in (
        ("train", cast, plan.workers - few, plan.seed),
        ("held", held_cast, few, plan.seed + 1000),
    ):
        target = out / f"{name}_pairs.npz"
        if target.is_file():
            continue
        command = [*SCENES, "positions", "solve", "--out", str(target), "--cast", str(people)]
        command += ["--per-template", str(plan.per_template), "--batch", "32"]
        command += ["--device", device, "--workers", str(workers), "--seed", str(seed)]
        command += ["--seconds", str(plan.solve_s)]
        jobs.append(_start(out / f"solve_{name}.log", command))
    _finish(*jobs)


def _render(
    plan: Plan, out: Path, name: str, cast: Path, textures: Path | None, workers: int
) -> _Job | None:
    folder = out / f"{name}_shards"
    done = out / f"{name}_rendered"
    if done.is_file():
        return None
    command = [*SCENES, "pictures", "--pairs", str(out / f"{name}_pairs.npz")]
    command += ["--cast", str(cast), "--out", str(folder), "--workers", str(workers)]
    command += ["--seed", str(plan.seed + (500 if name == "held" else 0))]
    command += ["--long-side", str(plan.long_side), "--devices", str(plan.gpus)]
    command += ["--shard-size", "1000"]
    limit = ["--count", str(plan.held_out)]
    if name == "train":
        limit = ["--seconds", str(plan.render_s), "--varied"]
        if plan.leave_out_fold is not None:
            limit += ["--leave-out-fold", str(plan.leave_out_fold)]
    command += limit + (["--textures", str(textures)] if textures else [])
    return _start(out / f"render_{name}.log", command, done)


class _Job(subprocess.Popen):
    """A step in a process of its own, with its log and the mark it leaves when done."""

    log: Path
    done: Path | None


def _start(log: Path, command: list[str], done: Path | None = None) -> _Job:
    print(time.strftime("%H:%M:%S"), " ".join(command[2:]), flush=True)
    with log.open("ab") as sink:
        job = _Job(command, stdout=sink, stderr=subprocess.STDOUT)
    job.log, job.done = log, done
    return job


def _finish(*jobs: _Job | None) -> None:
    for job in jobs:
        if job is None:
            continue
        if job.wait() != 0:
            tail = job.log.read_text(errors="replace")[-1500:]
            raise RuntimeError(f"{job.log.name} stopped with {job.returncode}:\n{tail}")
        if job.done is not None:
            job.done.touch()
        print(time.strftime("%H:%M:%S"), job.log.stem, "done", flush=True)
