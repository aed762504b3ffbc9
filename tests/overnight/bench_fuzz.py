"""Hundreds of spoilt films in one night: ``python -m tests.overnight.bench_fuzz``.

None may end the night, hang it, or fail without a sentence that names it. A second night over the
same files must end too. Prints what became of the films by the way they were spoilt.
"""

from __future__ import annotations

import argparse
import os
import resource
import tempfile
import time
from collections import Counter
from contextlib import closing
from pathlib import Path

from pipeline.library import Library
from pipeline.overnight import Engine, LocalProcesses, Order, Summary, make_plan, run_night
from pipeline.settings import OvernightSettings, Settings
from tests.overnight.spoilt import WAYS, make_films, spoilt_films

COUNT = 440
"""Each of 20 kinds of films in each of 11 ways, twice."""

READER = "tests.overnight.figures:FigureReader"
SETTINGS = Settings(overnight=OvernightSettings(chunk_s=1.0))


def night(root: Path, folder: Path, engine: Engine) -> Summary:
    """Read a folder into a library."""
    order = Order(Library(root), SETTINGS, READER)
    return run_night(order, make_plan(order, [folder], engine), engine)


def complaints(root: Path, summary: Summary) -> list[str]:
    """Return what is wrong with a night's account, a line each."""
    library = Library(root)
    found = list(library.problems())
    for file in summary.files:
        if file.became not in ("read", "known", "failed"):
            found.append(f"{file.path.name}: {file.became}")
        if file.became == "failed":
            found += _of_sentence(file.path.name, file.why)
        for bout in file.bouts:
            _, keypoints = library.keypoints(bout)
            if not len(keypoints):
                found.append(f"{file.path.name}: read, and there is nothing")
    return found


def _of_sentence(name: str, why: str) -> list[str]:
    whole = name in why and "\n" not in why and why.endswith((".", "?"))
    return [] if whole and "unforeseen" not in why else [f"{name}: says only “{why}”"]


def main() -> None:
    """Print one table; end with 1 if anything was wrong."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--count", type=int, default=COUNT)
    arguments.add_argument("--seed", type=int, default=0)
    arguments.add_argument("--keep", type=Path, help="Keep films and library here.")
    given = arguments.parse_args()
    with tempfile.TemporaryDirectory() as temporary:
        folder = given.keep or Path(temporary)
        whole, spoilt = folder / "whole", folder / "spoilt"
        for one in (whole, spoilt):
            one.mkdir(parents=True, exist_ok=True)
        films = list(spoilt_films(make_films(whole), spoilt, given.count, given.seed))
        wrong = []
        for which in ("first", "second"):
            began = time.monotonic()
            with closing(LocalProcesses(2)) as engine:
                summary = night(folder / "library", spoilt, engine)
            wrong += complaints(folder / "library", summary)
            print(f"{which} night, {time.monotonic() - began:.0f} s: {summary.total()}", flush=True)
            if which == "first":
                _show(films, summary)
    peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    print(f"peak of a worker {peak:.0f} MB, load {os.getloadavg()[0]:.1f}")
    print("\n".join(wrong) or "nothing wrong")
    raise SystemExit(bool(wrong))


def _show(films: list[Path], summary: Summary) -> None:
    became = Counter((file.path.stem.rpartition(", ")[2], file.became) for file in summary.files)
    print(f"{'spoilt how':<26}{'read':>6}{'failed':>8}")
    for way in WAYS:
        print(f"{way:<26}{became[way, 'read']:>6}{became[way, 'failed']:>8}")
    print(f"{'of all':<26}{len(summary.of('read')):>6}{len(summary.of('failed')):>8}")


if __name__ == "__main__":
    main()
