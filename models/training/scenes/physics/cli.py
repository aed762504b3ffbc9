"""``physics``: solved pairs moved by a physics engine, as stills and as bouts."""

from __future__ import annotations

import os
import time
from pathlib import Path
from typing import Annotated

import typer

from pipeline.errors import MatlineError

app = typer.Typer(no_args_is_help=True, help="Solved pairs moved by a physics engine.")

CastOption = Annotated[Path, typer.Option("--cast", help="A saved cast (positions cast).")]
PairsOption = Annotated[
    list[Path], typer.Option("--pairs", help="Solved pairs of that cast; repeatable.")
]
WorkersOption = Annotated[int, typer.Option(min=0, help="Processes; 0 for one on every core.")]
SecondsOption = Annotated[float, typer.Option(min=1, help="Stop after so long.")]
_SAVED_EVERY_S = 60.0


@app.command("stills")
def make_stills(
    out: Annotated[Path, typer.Option(help="Pack to write (.npz).")],
    cast: CastOption,
    pairs: PairsOption,
    workers: WorkersOption = 0,
    seconds: SecondsOption = 540,
    count: Annotated[int, typer.Option(min=1, help="Stills to keep at most.")] = 100_000,
    seed: int = 0,
) -> None:
    """Let pairs move for up to a second and a half; keep what is plausible, named by the judge."""
    from ..body import check_cast
    from ..pairs_file import save_pairs
    from .report import lines
    from .running import results
    from .stills import Made, orders, still

    check_cast(cast)
    total = Made()
    began = saved = time.monotonic()
    simulations = 0
    for made in results(still, orders(cast, pairs, seed), workers or _cores(), seconds):
        simulations += 1
        total.kept.extend(made.kept)
        total.became.update(made.became)
        total.moves.update(made.moves)
        total.figures.extend(made.figures)
        if time.monotonic() - saved > _SAVED_EVERY_S and total.kept:
            save_pairs(out, total.kept, compact=True)
            saved = time.monotonic()
        if len(total.kept) >= count:
            break
    if not total.kept:
        raise MatlineError("No still was kept: nothing written.")
    save_pairs(out, total.kept, compact=True)
    for line in lines(total, simulations, time.monotonic() - began):
        typer.echo(line)
    typer.echo(str(out))


@app.command("bouts")
def make_bouts(
    out: Annotated[Path, typer.Option(help="Folder to write to.")],
    cast: CastOption,
    pairs: PairsOption,
    workers: WorkersOption = 0,
    seconds: SecondsOption = 540,
    count: Annotated[int, typer.Option(min=1, help="Bouts to make at most.")] = 2000,
    first_seed: int = 0,
    length: Annotated[tuple[float, float], typer.Option(help="Least and greatest, seconds.")] = (
        20.0,
        40.0,
    ),
) -> None:
    """Let two athletes move for a while; the judge names what they do. For positions train."""
    import numpy as np

    from ..body import check_cast
    from .bouts import Order, make
    from .report import bout_lines
    from .running import results

    check_cast(cast)
    out.mkdir(parents=True, exist_ok=True)
    files = tuple(str(path) for path in pairs)
    orders = [
        Order(str(cast), files, seed, float(np.random.default_rng((seed, 9)).uniform(*length)), out)
        for seed in range(first_seed, first_seed + count)
    ]
    waiting = [order for order in orders if not (out / f"{order.name}.npz").exists()]
    began = time.monotonic()
    told = list(results(make, waiting, workers or _cores(), seconds))
    for line in bout_lines(told, time.monotonic() - began):
        typer.echo(line)
    typer.echo(str(out))


@app.command("strips")
def draw_strips(
    out: Annotated[Path, typer.Option(help="Picture to write (.webp, .png).")],
    cast: CastOption,
    pairs: PairsOption,
    count: Annotated[int, typer.Option(min=1, help="Simulations drawn.")] = 20,
    skip: Annotated[int, typer.Option(min=0, help="Simulations left out first.")] = 0,
    seed: int = 0,
) -> None:
    """Draw simulations as pictures in time."""
    import cv2

    from ..body import check_cast
    from .strips import strips

    check_cast(cast)
    picture = strips(cast, pairs, count, seed, skip=skip)
    cv2.imwrite(str(out), picture, [cv2.IMWRITE_WEBP_QUALITY, 60])
    typer.echo(str(out))


def _cores() -> int:
    return len(os.sched_getaffinity(0))
