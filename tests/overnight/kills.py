"""Kill a reading at random moments, again and again, and see that nothing is lost.

``python -m tests.overnight.kills 200`` is the long run; the tests make a short one.
"""

from __future__ import annotations

import random
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from pipeline.library import Library
from pipeline.overnight import InThisProcess, Order, make_plan, run_night
from pipeline.settings import OvernightSettings, Settings
from pipeline.timeline import Correction
from tests.overnight.figures import FigureReader, make_clip

CHUNK_S = 2.0
SETTINGS = Settings(overnight=OvernightSettings(chunk_s=CHUNK_S))


class SlowReader(FigureReader):
    """Takes its time, so that there is a middle to be killed in."""

    def read(self, image, region=None):
        """Read after a while."""
        time.sleep(0.01)
        return super().read(image, region)


def night(root: Path, clip: Path) -> str:
    """Read a clip into a library; return its bout."""
    library = Library(root)
    order = Order(library, SETTINGS, "tests.overnight.kills:SlowReader")
    plan = make_plan(order, [clip], InThisProcess())
    print("begun", flush=True)
    summary = run_night(order, plan, InThisProcess())
    return summary.files[0].bouts[0]


def correct(root: Path, bout: str) -> None:
    """Correct for ever, and say each correction that was confirmed."""
    library = Library(root)
    segment = library.timeline(bout).segments[0].id
    print("begun", flush=True)
    while True:
        note = Correction("note", {"segment": segment, "text": "x"})
        print(library.append(bout, note), flush=True)


def killed(action: str, *arguments: object, within_s: float) -> list[str]:
    """Run an action in a program of its own, kill it some time later, return what it said."""
    code = f"from tests.overnight.kills import *; {action}(*map(Path, sys.argv[1:]))"
    if action == "correct":
        code = f"from tests.overnight.kills import *; {action}(Path(sys.argv[1]), sys.argv[2])"
    process = subprocess.Popen(
        [sys.executable, "-c", code, *map(str, arguments)], stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    said = [process.stdout.readline()]
    assert said == ["begun\n"], "it ended before it was killed"
    time.sleep(random.uniform(0, within_s))
    process.kill()
    said += process.stdout.readlines()
    process.wait()
    return said


def kill_readings(folder: Path, count: int) -> None:
    """Kill a reading `count` times, then let it end, and compare with one never disturbed."""
    clip = make_clip(folder / "clip.mp4", 30)
    root = folder / "killed"
    pieces: set[Path] = set()
    for _ in range(count):
        killed("night", root, clip, within_s=2.0)
        now = set((root / "chunks").rglob("*.npz"))
        assert pieces <= now, "a piece that was read is gone"
        pieces = now
        if len(pieces) >= 15:
            forget(root)
            pieces = set()
    disturbed, calm = Library(root), Library(folder / "calm")
    bouts = night(root, clip), night(calm.root, clip)
    for one, other in zip(disturbed.keypoints(bouts[0]), calm.keypoints(bouts[1]), strict=True):
        np.testing.assert_array_equal(one, other)
    assert len(disturbed.bouts()) == 1
    assert [p for p in disturbed.problems() if "footage" not in p] == []


def kill_corrections(folder: Path, count: int) -> None:
    """Kill someone who corrects, `count` times; what was confirmed must be there."""
    root = folder / "corrected"
    bout = night(root, make_clip(folder / "short.mp4", 4))
    confirmed = 0
    for _ in range(count):
        said = killed("correct", root, bout, within_s=0.5)[1:]
        last = int(said[-1]) if said and said[-1].strip().isdigit() else confirmed
        revision = Library(root).revision(bout)
        assert revision >= max(confirmed, last), "a confirmed correction is gone"
        confirmed = revision


def forget(root: Path) -> None:
    """Let the next night begin anew."""
    for path in (root / "chunks").rglob("*.npz"):
        path.unlink()


def main() -> None:
    """Kill as often as the command line says."""
    count = int(sys.argv[1])
    with tempfile.TemporaryDirectory() as folder:
        kill_readings(Path(folder), count // 2)
        kill_corrections(Path(folder), count - count // 2)
    print(f"killed {count} times, nothing lost")


if __name__ == "__main__":
    main()
