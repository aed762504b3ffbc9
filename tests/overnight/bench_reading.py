"""How fast footage is read, and in how much memory: ``python -m tests.overnight.bench_reading``.

Every figure of a run comes from the same footage on the same machine, each in a program of its own,
one after the other. On a busy machine the seconds of a core say more than the speed. ``--hours 2``
adds the memory of long footage, which takes a while.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import closing
from fractions import Fraction
from itertools import count
from pathlib import Path

import av
import cv2
import numpy as np

from pipeline.bodies import READERS
from pipeline.bodies.bundle import bundle_path
from pipeline.footage import Footage
from pipeline.library import Library
from pipeline.overnight import LocalProcesses, Order, make_plan, read_file, run_night
from pipeline.overnight.samples import sample_clip
from pipeline.overnight.work import reader_of
from pipeline.settings import Settings
from tests.overnight.figures import make_clip

SIZES = {
    "1080p30": ((1920, 1080), 180, "8M"),
    "1080p30 phone": ((1920, 1080), 90, "16M"),
    "4K30": ((3840, 2160), 60, "40M"),
}
"""Pictures' size, seconds, bit rate."""

ROUNDS = 3
"""Times the same pictures come in a clip; making them takes longer than reading them."""

NOISE = 6.0
"""Standard deviation of the sensor noise laid over each picture, so that the bits are used."""

WAYS = {
    "decoding alone": "decode",
    "matline read, 1 worker": "pair 1",
    "matline read, 2 workers": "pair 2",
    "one program, two cores": "pair 0",
    "… MediaPipe, 1 worker": "mediapipe 1",
    "… MediaPipe, 2 workers": "mediapipe 2",
    "MediaPipe's own loop": "loop",
}
"""MediaPipe twice: in the pair reader's place, with all that Matline does about decoding and
tracking; and as its own documentation shows it, every picture decoded, whole ones looked at."""


def blow_up(
    source: Path, path: Path, size: tuple[int, int], seconds: float, rate: str = "8M"
) -> Path:
    """Write a clip larger and with noise, at 30 pictures a second, over and over."""
    rng = np.random.default_rng(7)
    noise = [rng.normal(0, NOISE, size[::-1]).round().astype(np.int8) for _ in range(5)]
    phone = "phone" in path.stem
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=30)
        stream.width, stream.height = size
        stream.pix_fmt = "yuv420p"
        stream.codec_context.time_base = Fraction(1, 30)
        # Phones: a key frame a second and no reordering; else what x264 does by itself.
        stream.options = {"preset": "veryfast", "b": rate, "maxrate": rate, "bufsize": rate}
        stream.options |= {"g": "30", "bf": "0"} if phone else {"g": "60"}
        for number, frame in zip(range(round(seconds * 30)), _over_and_over(source), strict=False):
            large = frame.reformat(*size, format="yuv420p").to_ndarray()
            grain = np.roll(noise[number % 5], 131 * number)
            large[: size[1]] = cv2.add(large[: size[1]], grain, dtype=cv2.CV_8U)
            picture = av.VideoFrame.from_ndarray(large, "yuv420p")
            picture.pts, picture.time_base = number, Fraction(1, 30)
            container.mux(stream.encode(picture))
        container.mux(stream.encode())
    return path


def repeat(path: Path, times: int) -> Path:
    """Write a clip several times in a row, its pictures as they are."""
    longer = path.with_stem(f"{path.stem} x {times}")
    with av.open(str(longer), "w") as made:
        stream = None
        for number in range(times):
            with av.open(str(path)) as given:
                source = given.streams.video[0]
                stream = stream or made.add_stream_from_template(source)
                shift = number * source.duration
                for packet in given.demux(source):
                    if packet.dts is not None:
                        packet.pts, packet.dts = packet.pts + shift, packet.dts + shift
                        packet.stream = stream
                        made.mux(packet)
    path.unlink()
    return longer


def _over_and_over(source: Path) -> Iterator[av.VideoFrame]:
    """Yield a clip's pictures, each as often as makes 30 a second."""
    for _round in count():
        with av.open(str(source)) as original:
            rate = original.streams.video[0].average_rate
            for number, frame in enumerate(original.decode(video=0)):
                times = int((number + 1) * 30 / rate) - int(number * 30 / rate)
                yield from [frame] * times


def measure(what: str, path: Path) -> dict[str, float]:
    """Measure one thing in a program of its own."""
    command = [sys.executable, "-m", "tests.overnight.bench_reading", "--inside", what, str(path)]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    return json.loads(done.stdout.splitlines()[-1])


def inside(what: str, path: Path) -> None:
    """Read a file and print how long it took, how long it is, and the most memory used."""
    reader, _, workers = what.partition(" ")
    began = time.monotonic()
    if what == "decode":
        decode(path)
    elif what == "loop":
        loop(path)
    elif workers in ("", "0"):
        read_file(path, reader_of(reader))
    else:
        night(path, reader, int(workers))
    uses = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    took = {
        "spent_s": time.monotonic() - began,
        "footage_s": Footage.open(path).info.duration_s,
        "work_s": sum(use.ru_utime + use.ru_stime for use in uses),
        "peak_mb": max(use.ru_maxrss for use in uses) / 1024,
    }
    print(json.dumps(took))


def night(path: Path, backend: str, workers: int) -> None:
    """Do what `matline read` does, into a library of its own; starting the workers counts."""
    with tempfile.TemporaryDirectory() as root, closing(LocalProcesses(workers)) as engine:
        order = Order(Library(Path(root)), backend=backend)
        summary = run_night(order, make_plan(order, [path], engine), engine)
    if not summary.of("read"):
        raise SystemExit("\n".join(summary.lines()))


def decode(path: Path) -> None:
    """Take the pictures and do nothing with them."""
    for _frame in Footage.open(path).frames(max_side=Settings().overnight.max_side):
        pass


def loop(path: Path) -> None:
    """Read bodies as MediaPipe's documentation does: open, take each picture, detect."""
    import mediapipe as mp
    from mediapipe.tasks.python import BaseOptions, vision

    options = vision.PoseLandmarkerOptions(
        base_options=BaseOptions(model_asset_path=str(bundle_path())),
        running_mode=vision.RunningMode.VIDEO,
        num_poses=4,
    )
    capture, instant = cv2.VideoCapture(str(path)), -1
    with vision.PoseLandmarker.create_from_options(options) as landmarker:
        for number in count():
            there, picture = capture.read()
            if not there:
                return
            if number // 6 == instant:  # 5 a second of 30
                continue
            instant = number // 6
            rgb = cv2.cvtColor(picture, cv2.COLOR_BGR2RGB)
            image = mp.Image(image_format=mp.ImageFormat.SRGB, data=rgb)
            landmarker.detect_for_video(image, round(number * 1000 / 30))


def speeds(folder: Path, seconds: float | None, names: Sequence[str]) -> None:
    """Print how fast footage of each size is read in each way."""
    there = {name for name, (_, is_there) in READERS.items() if is_there()}
    print(
        f"{'footage':<14} {'':<26} {'× real time':>11} {'core s a minute':>16} "
        f"{'peak of one':>12} {'load':>5}"
    )
    for name in names:
        size, lasts_s, rate = SIZES[name]
        part_s = (seconds or lasts_s) / ROUNDS
        clip = blow_up(sample_clip(), folder / f"{name}.mp4", size, part_s, rate)
        clip = repeat(clip, ROUNDS)
        for way, what in WAYS.items():
            if what.partition(" ")[0] in {"pair", "mediapipe"} - there:
                continue
            if what == "loop" and "mediapipe" not in there:
                continue
            took = measure(what, clip)
            print(
                f"{name:<14} {way:<26} {took['footage_s'] / took['spent_s']:>11.1f} "
                f"{took['work_s'] / took['footage_s'] * 60:>16.1f} {took['peak_mb']:>9.0f} MB "
                f"{os.getloadavg()[0]:>5.1f}",
                flush=True,
            )
        clip.unlink()


def memory(folder: Path, hours: float) -> None:
    """Print how much memory long footage takes, from end to end in one program."""
    print(f"\n{'footage':<26} {'peak memory':>12}")
    for minutes in (10, round(hours * 60)):
        clip = make_clip(folder / f"{minutes}.mp4", minutes * 60, rate=5)
        took = measure("tests.overnight.figures:FigureReader", clip)
        print(f"{minutes} min of small pictures{'':<4} {took['peak_mb']:>9.0f} MB", flush=True)


def main() -> None:
    """Print the tables."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--inside", help=argparse.SUPPRESS)
    arguments.add_argument("--seconds", type=float, help="Of footage, instead of each size's own.")
    arguments.add_argument("--sizes", nargs="*", choices=SIZES, default=list(SIZES))
    arguments.add_argument("--hours", type=float, help="Also the memory of footage that long.")
    arguments.add_argument("path", nargs="?", type=Path, help=argparse.SUPPRESS)
    given = arguments.parse_args()
    if given.inside:
        inside(given.inside, given.path)
        return
    print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}, one program at a time")
    with tempfile.TemporaryDirectory() as folder:
        speeds(Path(folder), given.seconds, given.sizes)
        if given.hours:
            memory(Path(folder), given.hours)


if __name__ == "__main__":
    main()
