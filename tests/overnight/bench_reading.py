"""How fast footage is read, and in how much memory: ``python -m tests.overnight.bench_reading``.

Every figure of a run comes from the same footage on the same machine, each in a program of its own.
"""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from fractions import Fraction
from pathlib import Path

import av

from pipeline.bodies import READERS
from pipeline.footage import Footage
from pipeline.overnight import read_file
from pipeline.overnight.samples import sample_clip
from pipeline.overnight.work import reader_of
from pipeline.settings import Settings
from tests.overnight.figures import make_clip

SECONDS = 60
SIZES = {"1080p30": (1920, 1080), "4K30": (3840, 2160)}


def blow_up(source: Path, path: Path, size: tuple[int, int], seconds: float = SECONDS) -> Path:
    """Write a clip larger, at 30 pictures a second, over and over until it is long enough."""
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=30)
        stream.width, stream.height = size
        stream.pix_fmt = "yuv420p"
        stream.codec_context.time_base = Fraction(1, 30)
        stream.options = {"preset": "veryfast", "g": "60"}
        number = 0
        while number < seconds * 30:
            with av.open(str(source)) as original:
                for frame in original.decode(video=0):
                    large = frame.reformat(*size, format="yuv420p")
                    large.pts, large.time_base = number, Fraction(1, 30)
                    container.mux(stream.encode(large))
                    number += 1
                    if number >= seconds * 30:
                        break
        container.mux(stream.encode())
    return path


def measure(what: str, path: Path) -> dict[str, float]:
    """Measure one thing in a program of its own."""
    code = "import sys; from tests.overnight.bench_reading import *; inside(*sys.argv[1:])"
    done = subprocess.run(
        [sys.executable, "-c", code, what, str(path)], capture_output=True, text=True, check=True
    )
    return json.loads(done.stdout.splitlines()[-1])


def inside(what: str, name: str) -> None:
    """Read a file and print how long it took, how long it is, and the most memory used."""
    path = Path(name)
    reader = None if what == "decode" else reader_of(what)
    began = time.monotonic()
    decode(path) if reader is None else read_file(path, reader)
    spent = time.monotonic() - began
    footage_s = Footage.open(path).info.duration_s
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    print(json.dumps({"spent_s": spent, "footage_s": footage_s, "peak_mb": peak / 1024}))


def decode(path: Path) -> None:
    """Take the pictures and do nothing with them."""
    for _frame in Footage.open(path).frames(max_side=Settings().overnight.max_side):
        pass


def rows(folder: Path) -> list[tuple[str, str, dict[str, float]]]:
    """Measure everything."""
    found = []
    readers = [name for name, (_, is_there) in READERS.items() if is_there()]
    for size_name, size in SIZES.items():
        clip = blow_up(sample_clip(), folder / f"{size_name}.mp4", size)
        for what in ("decode", *readers):
            found.append((size_name, what, measure(what, clip)))
    for minutes in (10, 120):
        clip = make_clip(folder / f"{minutes}.mp4", minutes * 60, rate=5)
        what = "tests.overnight.figures:FigureReader"
        found.append((f"{minutes} min, small", "memory only", measure(what, clip)))
    return found


def main() -> None:
    """Print one table."""
    print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}, one program at a time")
    print(f"{'footage':<16} {'read by':<14} {'× real time':>12} {'peak memory':>14}")
    with tempfile.TemporaryDirectory() as folder:
        for footage, what, took in rows(Path(folder)):
            speed = took["footage_s"] / took["spent_s"]
            print(
                f"{footage:<16} {what:<14} {speed:>12.1f} {took['peak_mb']:>11.0f} MB", flush=True
            )


if __name__ == "__main__":
    main()
