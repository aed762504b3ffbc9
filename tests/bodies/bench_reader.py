"""The pair reader beside MediaPipe on the same rendered pictures: one table, one run.

``python -m tests.bodies.bench_reader`` takes the pictures and the clip of the tests, and those
sample clips that have true skeletons beside them; ``--shards`` and ``--clips`` add more.
"""

from __future__ import annotations

import argparse
import itertools
import json
import math
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from pipeline.athletes import Athletes
from pipeline.bodies import READERS, BodyReader, Look, RegionTracker, make_reader
from pipeline.bodies.crops import square_around
from pipeline.bodies.pair import PairReader
from pipeline.footage import Footage
from pipeline.overnight.samples import sample_clip
from tests.bodies import truth
from tests.bodies.truth import Scene
from tests.overnight import bench_reading

FOUND = 0.3
"""Similarity (COCO's, visible and hidden keypoints) from which an athlete counts as found."""
NEAR = 0.05
"""Share of the crop's side within which a keypoint counts as right."""
SURE = 0.1
"""Similarity by which one way round must be better to say who is who."""
CLIP_S = 30.0
"""Seconds of 1080p30 that are read from end to end."""

MAKERS: dict[str, tuple[str, Callable[[int], BodyReader]]] = {
    "pair reader": ("pair", lambda threads: PairReader(threads=threads)),
    "with mirror image": ("pair", lambda threads: PairReader(flip=True, threads=threads)),
    "MediaPipe": ("mediapipe", lambda threads: make_reader("mediapipe", threads)),
}
"""What is compared: the reader's name for `READERS`, and how to make it."""


@dataclass(frozen=True)
class Clip:
    """A video and its true skeletons.

    Attributes
    ----------
    path : Path
    scenes : list of (float, Scene)
        Time in seconds, and the picture at it.
    """

    path: Path
    scenes: list[tuple[float, Scene]]


def clips(folder: Path) -> list[Clip]:
    """Return the clips that have ``NAME.keypoints.json`` beside ``NAME.mp4``."""
    found = []
    for path in sorted(folder.glob("*.keypoints.json")):
        video = path.with_name(path.name.removesuffix(".keypoints.json") + ".mp4")
        people = {round(entry["time_s"], 2): bodies for entry, bodies in truth.people_in(path)}
        scenes = []
        for frame in Footage.open(video).frames(math.inf):
            bodies = people.get(round(frame.time_s, 2))
            if bodies is not None and len(bodies) == 2:
                flags = bodies[..., 2].astype(int)
                scenes.append(
                    (frame.time_s, Scene(video.name, frame.image, bodies[..., :2], flags))
                )
        found.append(Clip(video, scenes))
    return found


def from_shards(folder: Path, most: int) -> list[Scene]:
    """Return rendered pictures that show at least four keypoints of each athlete."""
    from models.training.scenes.shards import read_shard

    def pictures() -> Iterator[Scene]:
        for path in sorted(folder.glob("*.npz")):
            shard = read_shard(path)
            for i, visible in enumerate(shard.visibility.astype(int)):
                if ((visible > 0).sum(1) >= 4).all():
                    yield Scene(f"{path.stem} {i}", shard.image(i), shard.keypoints[i], visible)

    return list(itertools.islice(pictures(), most))


def read_here(reader: BodyReader, scene: Scene) -> Look:
    """Read where the pair is known to be; the pair reader exactly there."""
    return reader.read(scene.image, scene.region)


@dataclass(frozen=True)
class Accuracy:
    """What one reader gave, in percent."""

    both_here: float
    both_anywhere: float
    visible_error: float
    visible_near: float
    hidden_error: float
    hidden_near: float


def accuracy(reader: BodyReader, scenes: Sequence[Scene]) -> Accuracy:
    """Measure on single pictures.

    Errors are distances in percent of the crop's side over keypoints that were found at all; the
    shares that are near count a keypoint that was not found as wrong.
    """
    here, anywhere = [], []
    errors: dict[int, list[np.ndarray]] = {1: [], 2: []}
    for scene in scenes:
        bodies, alike = truth.matched([b.keypoints for b in read_here(reader, scene).bodies], scene)
        here.append(alike.min() >= FOUND)
        everywhere = reader.read(scene.image).bodies
        anywhere.append(truth.matched([b.keypoints for b in everywhere], scene)[1].min() >= FOUND)
        side = square_around(scene.region).side
        apart = np.linalg.norm(bodies[..., :2] - scene.keypoints, axis=-1) / side
        for flag, kept in errors.items():
            kept.append(apart[scene.visible == flag])
    hidden, visible = (np.concatenate(errors[flag]) for flag in (1, 2))
    return Accuracy(
        100 * float(np.mean(here)),
        100 * float(np.mean(anywhere)),
        100 * float(np.nanmean(visible)),
        100 * float((visible < NEAR).mean()),
        100 * float(np.nanmean(hidden)),
        100 * float((hidden < NEAR).mean()),
    )


@dataclass(frozen=True)
class Identity:
    """Who is who over a clip: exchanges of A and B, and samples in which both were tracked."""

    swaps: int
    tracked: int
    samples: int


def identity(reader: BodyReader, clip: Clip) -> Identity:
    """Read a clip as footage is read, and count how often A and B change places."""
    tracker, athletes = RegionTracker(), Athletes()
    for time_s, scene in clip.scenes:
        athletes.append(time_s, scene.image, tracker.read(reader, scene.image))
    tracks = athletes.result()
    straight, tracked = [], 0
    for (_, scene), pair in zip(clip.scenes, tracks.keypoints, strict=True):
        same = _similarity(pair, scene)
        crossed = _similarity(pair[::-1], scene)
        tracked += max(same, crossed) >= FOUND
        if abs(same - crossed) >= SURE:
            straight.append(same > crossed)
    swaps = sum(a != b for a, b in itertools.pairwise(straight))
    return Identity(swaps, tracked, len(clip.scenes))


def _similarity(pair: np.ndarray, scene: Scene) -> float:
    """Mean similarity of two bodies to the two athletes, in this order."""
    values = []
    for body, points, visible in zip(pair, scene.keypoints, scene.visible, strict=True):
        one = Scene(scene.name, scene.image, points[None], visible[None])
        values.append(truth.matched([body], one)[1][0])
    return float(np.mean(values))


def milliseconds(name: str, threads: int) -> float:
    """Time a reader in a program of its own that may use so many processors."""
    code = "import sys; from tests.bodies.bench_reader import *; time_it(*sys.argv[1:])"
    done = subprocess.run(
        [sys.executable, "-c", code, name, str(threads)], capture_output=True, text=True, check=True
    )
    return float(json.loads(done.stdout.splitlines()[-1]))


def time_it(name: str, threads: str, rounds: int = 5) -> None:
    """Print the median time of a picture whose pair's place is known."""
    if hasattr(os, "sched_setaffinity"):  # MediaPipe can't be told in another way
        os.sched_setaffinity(0, sorted(os.sched_getaffinity(0))[: int(threads)])
    reader = MAKERS[name][1](int(threads))
    scenes = truth.pictures()
    spent = []
    for scene in scenes * rounds:
        began = time.perf_counter()
        read_here(reader, scene)
        spent.append(time.perf_counter() - began)
    print(json.dumps(1000 * float(np.median(spent[len(scenes) :]))))


def end_to_end(folder: Path) -> dict[str, float]:
    """Times real time at 1080p30, decoding and choosing athletes included, of each reader."""
    clip = bench_reading.blow_up(sample_clip(), folder / "1080p30.mp4", (1920, 1080), CLIP_S)
    speeds = {}
    for name in {name for name, _ in MAKERS.values()}:
        if READERS[name][1]():
            took = bench_reading.measure(name, clip)
            speeds[name] = took["footage_s"] / took["spent_s"]
    return speeds


def main(arguments: Sequence[str] | None = None) -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--shards", type=Path, help="folder of rendered shards to measure on too")
    parser.add_argument("--most", type=int, default=300, help="pictures taken from the shards")
    parser.add_argument("--clips", type=Path, help="folder of films made by models.training.scenes")
    parser.add_argument("--no-speed", action="store_true", help="leave the times out")
    asked = parser.parse_args(arguments)
    folders = [truth.CLIPS, sample_clip().parent, *([asked.clips] if asked.clips else [])]
    filmed = [clip for folder in folders for clip in clips(folder)]
    stills = truth.pictures() + (from_shards(asked.shards, asked.most) if asked.shards else [])
    stills += [scene for clip in filmed for _, scene in clip.scenes[::5]]
    seconds = sum(clip.scenes[-1][0] for clip in filmed)
    print(
        f"{len(stills)} rendered pictures; {len(filmed)} clips with true skeletons, "
        f"{seconds:.0f} s; {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}"
    )
    with tempfile.TemporaryDirectory() as folder:
        speeds = {} if asked.no_speed else end_to_end(Path(folder))
    print(HEADER)
    for name, (backend, make) in MAKERS.items():
        if not READERS[backend][1]():
            print(f"{name:<18} not measured: its models are missing (matline check)")
            continue
        print(row(name, backend, make(2), stills, filmed, speeds, asked.no_speed), flush=True)
    print(NOTES)


HEADER = (
    f"{'':<18} {'both found, %':^15} {'visible keypoints':^18} {'hidden keypoints':^18} "
    f"{'A and B':^11} {'ms a picture':^13} {'× real time':>11}\n"
    f"{'':<18} {'here':>7} {'anywhere':>8} {'error':>9} {'near':>8} {'error':>9} {'near':>8} "
    f"{'swaps':>5} {'kept':>5} {'1 core':>6} {'2':>6} {'1080p30':>11}"
)
NOTES = f"""
both found: two different bodies, each with a COCO keypoint similarity of at least {FOUND}; here =
the pair's box was given, anywhere = only the picture was. error: mean distance in % of the crop's
side, of keypoints found at all; near: share within {NEAR:.0%}, one not found counts as wrong.
swaps: how often A and B changed places over the clips; kept: % of their samples with both tracked.
× real time: a clip from file to athletes A and B, decoding included, 1 process."""


def row(
    name: str,
    backend: str,
    reader: BodyReader,
    stills: Sequence[Scene],
    filmed: Sequence[Clip],
    speeds: dict[str, float],
    no_speed: bool,
) -> str:
    """Measure one reader and return its line of the table."""
    a = accuracy(reader, stills)
    who = [identity(reader, clip) for clip in filmed]
    swaps = sum(w.swaps for w in who)
    kept = 100 * sum(w.tracked for w in who) / max(sum(w.samples for w in who), 1)
    took = [math.nan] * 2 if no_speed else [milliseconds(name, n) for n in (1, 2)]
    # Footage is read without the mirror image.
    speed = math.nan if name == "with mirror image" else speeds.get(backend, math.nan)
    return (
        f"{name:<18} {a.both_here:>7.1f} {a.both_anywhere:>8.1f} {a.visible_error:>8.1f}% "
        f"{a.visible_near:>7.1f}% {a.hidden_error:>8.1f}% {a.hidden_near:>7.1f}% "
        f"{swaps:>5} {kept:>5.0f} {took[0]:>6.0f} {took[1]:>6.0f} {speed:>11.1f}"
    )


if __name__ == "__main__":
    main()
