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
    from ..pairs_file import save_pairs
    from .report import lines
    from .running import results
    from .stills import Made, orders, still

    _check(cast)
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


def _check(cast: Path) -> None:
    if not cast.is_file():
        raise MatlineError(
            f"There is no cast at {cast}: make one with positions cast --out {cast}."
        )


def _cores() -> int:
    return len(os.sched_getaffinity(0))
