"""``bouts``: moving bouts, and films of them with their true timelines."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import numpy as np
import typer

if TYPE_CHECKING:
    from .body import Person
    from .bouts import Bout

app = typer.Typer(no_args_is_help=True, help="Moving bouts.")


@app.command("make")
def make_bouts(
    out: Annotated[Path, typer.Option(help="Folder to write to.")],
    cast: Annotated[Path, typer.Option(help="Made by positions cast.")],
    pairs: Annotated[Path, typer.Option(help="Made by positions solve.")],
    count: Annotated[int, typer.Option(min=1)] = 12,
    first_seed: int = 0,
    name: Annotated[str, typer.Option(help="Start of the files' names.")] = "bout",
    seconds: Annotated[tuple[float, float], typer.Option(help="Least and greatest length.")] = (
        40.0,
        60.0,
    ),
    steps: Annotated[int, typer.Option(min=1, help="Of settling.")] = 40,
) -> None:
    """Make bouts that another machine can film; what is already there is kept."""
    from .body import load_cast
    from .bouts import library_for, make_bout
    from .casting import matched, suited
    from .pairs_file import load_pairs
    from .played import Played
    from .settle import SettleSettings

    people, solved = load_cast(cast), load_pairs(pairs)
    out.mkdir(parents=True, exist_ok=True)
    for seed in range(first_seed, first_seed + count):
        path = out / f"{name}-{seed:04d}.npz"
        if path.exists():
            continue
        rng = np.random.default_rng((seed, 3))
        a, b = matched(rng, people)
        library = library_for(suited(solved, people, (a, b)), (a, b))
        length = float(rng.uniform(*seconds))
        settings = SettleSettings(steps=steps)
        bout = make_bout(seed, people, (a, b), library, length, settings=settings)
        Played.of(bout, every=2).save(path)
        kinds = [moment.kind for moment in bout.timeline.moments]
        typer.echo(f"{path}: {length:.0f} s, {kinds.count('lift')} lifts, "
                   f"{kinds.count('rise')} rises")  # fmt: skip


@app.command("film")
def film_bout(
    out: Annotated[Path, typer.Option(help="Video to write (.mp4); the truth goes beside it.")],
    cast: Annotated[Path, typer.Option(help="Made by positions cast.")],
    pairs: Annotated[
        Path | None,
        typer.Option(help="Made by positions solve; without it, poses are solved for the two."),
    ] = None,
    seed: Annotated[int, typer.Option(help="Of the bout.")] = 0,
    look_seed: Annotated[int, typer.Option(help="Of clothing, hall and camera.")] = 0,
    seconds: float = 30.0,
    rate_hz: Annotated[float, typer.Option(help="Pictures a second.")] = 15.0,
    textures: Annotated[
        Path | None, typer.Option(help="Made by textures; without it, prints are drawn.")
    ] = None,
    clothing: Annotated[
        str | None, typer.Option(help="no-gi, gi or gi-same (one colour); random by default.")
    ] = None,
    lens_m: Annotated[
        tuple[float, float], typer.Option(help="Least and greatest height of the lens, metres.")
    ] = (0.3, 3.0),
    referee: Annotated[bool, typer.Option(help="Somebody walks past the camera.")] = False,
    next_mat: Annotated[bool, typer.Option(help="A second pair goes on behind.")] = False,
) -> None:
    """Film a bout of two people of a cast who are much alike in size."""
    from .body import load_cast
    from .casting import matched
    from .film import Clothing, Filming, film
    from .film_files import write_film, write_skeletons, write_truth
    from .picture import Studio
    from .prints import drawn_prints
    from .textures import load_textures

    people = load_cast(cast)
    a, b, c, d = matched(np.random.default_rng(seed), people, bouts=2)
    bout = _bout(seed, people, (a, b), pairs, seconds, rate_hz)
    other = _bout(seed + 1, people, (c, d), pairs, seconds, rate_hz) if next_mat else None
    worn = Clothing(clothing) if clothing else None
    filming = Filming(look_seed, referee, other, worn, lens_m)
    studio = Studio(people, load_textures(textures) if textures else drawn_prints())
    total = len(bout.times)

    def say(done: int) -> None:
        if done % 30 == 0 or done == total:
            typer.echo(f"{done} of {total} pictures", err=True)

    out.parent.mkdir(parents=True, exist_ok=True)
    truth = write_film(film(studio, bout, filming), out, rate_hz, say)
    write_skeletons(bout, truth, rate_hz, out)
    write_truth(bout, out.with_suffix(""))
    typer.echo(f"{out}: {bout.times[-1]:.1f} s, {out.stat().st_size / 1e6:.2f} MB")


@app.command("films")
def film_many(
    orders: Annotated[Path, typer.Option(help="JSON list of films; see films.FilmOrder.")],
    out: Annotated[Path, typer.Option(help="Folder for the films.")],
    workers: Annotated[int, typer.Option(min=1, help="Processes.")] = 1,
    devices: Annotated[int, typer.Option(help="GPUs to share; 0 takes what EGL offers first.")] = 0,
    textures: Annotated[Path | None, typer.Option(help="File made by textures.")] = None,
    pictures: Annotated[int | None, typer.Option(help="Of each film at most, for a try.")] = None,
    packed: Annotated[Path | None, typer.Option(help="Folder for a few archives of all.")] = None,
    only_pack: Annotated[bool, typer.Option(help="Film nothing more.")] = False,
) -> None:
    """Film bouts made by “make” that lie beside the orders."""
    from .films import film_all, pack, read_orders

    wanted = [] if only_pack else read_orders(orders)
    films = film_all(orders.parent, out, wanted, workers, devices, textures, pictures)
    for done, line in enumerate(films, 1):
        typer.echo(f"{done} of {len(wanted)}  {line}")
    for path in pack(out, packed) if packed else ():
        typer.echo(f"{path}: {path.stat().st_size / 1e6:.1f} MB")


def _bout(
    seed: int,
    people: Sequence[Person],
    who: tuple[int, int],
    pairs: Path | None,
    seconds: float,
    rate_hz: float,
) -> Bout:
    from .bouts import library_for, make_own_bout, play
    from .casting import suited
    from .grammar import plan_bout
    from .pairs_file import load_pairs
    from .templates import lasting

    if pairs is None:
        typer.echo("Solving the bout's positions …", err=True)
        return make_own_bout(seed, people, who, seconds, rate_hz)
    plan = plan_bout(np.random.default_rng((seed, 0)), lasting(), seconds)
    library = library_for(suited(load_pairs(pairs), people, who), who)
    return play(plan, seed, people, who, library, rate_hz)
