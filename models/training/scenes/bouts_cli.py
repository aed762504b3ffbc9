"""``bouts film``: a rendered bout with its true timeline."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import numpy as np
import typer

app = typer.Typer(no_args_is_help=True, help="Moving bouts.")


@app.callback()
def _group() -> None:
    """Keep `film` a command of its own name."""


@app.command("film")
def film_bout(
    out: Annotated[Path, typer.Option(help="Video to write (.mp4); the truth goes beside it.")],
    cast: Annotated[Path, typer.Option(help="Made by positions cast.")],
    seed: Annotated[int, typer.Option(help="Of the bout.")] = 0,
    look_seed: Annotated[int, typer.Option(help="Of clothing, hall and camera.")] = 0,
    seconds: float = 30.0,
    rate_hz: Annotated[float, typer.Option(help="Pictures a second.")] = 15.0,
    textures: Annotated[Path | None, typer.Option(help="Made by textures.")] = None,
    referee: Annotated[bool, typer.Option(help="Somebody walks past the camera.")] = False,
    next_mat: Annotated[bool, typer.Option(help="A second pair goes on behind.")] = False,
) -> None:
    """Film a bout of two people of a cast, its templates solved for them."""
    from .body import load_cast
    from .bouts import make_own_bout
    from .film import Filming, film, write_film, write_truth
    from .picture import Studio
    from .textures import Source, load_textures, make_textures

    people = load_cast(cast)
    who = np.random.default_rng(seed).permutation(len(people))
    typer.echo("Solving the bout's positions …", err=True)
    bout = make_own_bout(seed, people, (int(who[0]), int(who[1])), seconds, rate_hz)
    other = None
    if next_mat:
        other = make_own_bout(seed + 1, people, (int(who[2]), int(who[3])), seconds, rate_hz)
    prints = load_textures(textures) if textures else make_textures(Source(_drawn(), []), 24, 0)
    studio = Studio(people, prints)
    filming = Filming(look_seed, referee, other)
    total = len(bout.times)

    def say(done: int) -> None:
        if done % 30 == 0 or done == total:
            typer.echo(f"{done} of {total} pictures", err=True)

    out.parent.mkdir(parents=True, exist_ok=True)
    write_film(film(studio, bout, filming), out, rate_hz, say)
    write_truth(bout, out.with_suffix(""))
    typer.echo(f"{out}: {bout.times[-1]:.1f} s, {out.stat().st_size / 1e6:.2f} MB")


def _drawn() -> list[np.ndarray]:
    """Pictures to print on walls and clothes that come from nobody: smooth random colours."""
    import cv2

    rng = np.random.default_rng(0)
    coarse = [rng.integers(0, 256, (6, 8, 3)).astype(np.uint8) for _ in range(6)]
    return [cv2.resize(c, (640, 480), interpolation=cv2.INTER_CUBIC) for c in coarse]
