"""``positions``: make a cast, solve the templates, look at them."""

from __future__ import annotations

import time
from collections import defaultdict
from pathlib import Path
from typing import Annotated

import typer

from pipeline.errors import MatlineError

from .contacts import Template
from .solve_many import Tally, choose, plan, solve_batches, tally
from .solver import SolvedPair
from .templates import templates

app = typer.Typer(
    help="Positions written as contacts, solved for two bodies.", no_args_is_help=True
)

CastOption = Annotated[Path, typer.Option("--cast", help="A saved cast (positions cast).")]
DeviceOption = Annotated[str, typer.Option(help="cpu or cuda.")]
WorkersOption = Annotated[int, typer.Option(min=1, help="Processes.")]
OnlyOption = Annotated[
    list[str] | None, typer.Option("--only", help="Start of a template's name; repeatable.")
]


@app.command("list")
def list_templates() -> None:
    """Print every template with its position and what it shows."""
    for t in templates().values():
        typer.echo(f"{t.position:17s} {t.name:42s} {t.about}")


@app.command("cast")
def make_cast(
    out: Annotated[Path, typer.Option(help="File to write (.npz).")],
    people: Annotated[int, typer.Option(min=2)] = 48,
    seed: int = 0,
) -> None:
    """Make a cast of bodies; other machines then need no Anny."""
    from .body import cast, save_cast

    save_cast(out, cast(people, seed))
    typer.echo(f"{people} people in {out}")


@app.command("solve")
def solve_templates(
    out: Annotated[Path, typer.Option(help="File of pairs to write (.npz).")],
    cast: CastOption,
    per_template: Annotated[int, typer.Option(min=1, help="Pairs to solve of each.")] = 32,
    seed: int = 0,
    device: DeviceOption = "cpu",
    workers: WorkersOption = 1,
    batch: Annotated[int, typer.Option(min=1, help="Pairs solved at once.")] = 128,
    seconds: Annotated[float, typer.Option(help="Stop after so long and keep what is done.")] = 0,
    only: OnlyOption = None,
) -> None:
    """Solve the templates and judge every pair."""
    from .body import check_cast
    from .pairs_file import save_pairs

    check_cast(cast)
    batches = plan(_chosen(only), per_template, batch, seed)
    found: dict[str, list[SolvedPair]] = defaultdict(list)
    began = time.monotonic()
    for i, batch_of_pairs in enumerate(solve_batches(batches, cast, device, workers), 1):
        for solved in batch_of_pairs:
            found[solved.pair.template].append(solved)
        spent = time.monotonic() - began
        _say_progress(i, len(batches), spent)
        if seconds and spent > seconds:
            break
    spent = time.monotonic() - began
    everything = [s for pairs in found.values() for s in pairs]
    accepted = [s for s in everything if s.quality.accepted]
    _print_table({name: tally(pairs) for name, pairs in found.items()})
    if not accepted:
        raise MatlineError("No pair was plausible: nothing written.")
    save_pairs(out, everything)
    typer.echo(
        f"{len(accepted)} of {len(everything)} pairs accepted in {spent:.0f} s "
        f"({len(everything) / spent:.1f} solved a second, {workers} × {device}): {out}"
    )


@app.command("compose")
def solve_compositions(
    out: Annotated[Path, typer.Option(help="Pack to write (.npz); more parts go beside it.")],
    cast: CastOption,
    count: Annotated[int, typer.Option(min=1, help="Pairs to keep at most.")] = 200_000,
    seed: int = 0,
    device: DeviceOption = "cpu",
    workers: Annotated[int, typer.Option(min=1, help="Processes that look at meshes.")] = 1,
    seconds: Annotated[float, typer.Option(help="Stop after so long.")] = 540,
    batch: Annotated[int, typer.Option(min=2, help="Pairs solved at once.")] = 768,
    solvers: Annotated[int, typer.Option(min=1, help="Processes for each GPU.")] = 3,
    mixed: Annotated[float, typer.Option(help="Share of in-between poses.")] = 0.25,
    judged: Annotated[
        bool, typer.Option("--judged", help="Keep only what the judge finds to be as meant.")
    ] = False,
    only: OnlyOption = None,
) -> None:
    """Put positions together from parts, solve them, and keep what is plausible."""
    from .body import check_cast
    from .compose_many import Plan, compose_many
    from .compositions_report import Progress

    check_cast(cast)
    plan = Plan(
        str(cast), seed, count, seconds, device, workers, batch, solvers, mixed, judged,
        tuple(only or ()),
    )  # fmt: skip
    progress = Progress(out, typer.echo)
    for found in compose_many(plan):
        progress.add(found)
    if not progress.kept:
        raise MatlineError("No composition was kept: nothing written.")
    progress.end()
    typer.echo(str(out))


@app.command("judge")
def judge_pairs(
    pairs: Annotated[list[Path], typer.Argument(help="Files of pairs, as they were solved.")],
    out: Annotated[Path, typer.Option(help="Pack to write (.npz).")],
    cast: CastOption,
    others: Annotated[
        bool, typer.Option("--others", help="Keep those judged to be another position, as that.")
    ] = False,
) -> None:
    """Keep the pairs that the judge finds to be as meant; it names in-between poses."""
    from .body import load_cast
    from .compositions_report import tables
    from .judged_pairs import judged
    from .pairs_file import load_pairs, save_pairs

    given = load_pairs(*pairs)
    kept = judged(given, load_cast(cast), others)
    if not kept:
        raise MatlineError("The judge found none of the pairs to be as meant: nothing written.")
    save_pairs(out, kept, compact=True)
    for line in tables(kept):
        typer.echo(line)
    typer.echo(f"{len(kept)} of {len(given)} pairs kept: {out}")


@app.command("sheet")
def draw_sheet(
    pairs: Annotated[list[Path], typer.Argument(help="Files of pairs.")],
    out: Annotated[Path, typer.Option(help="Folder for the pictures.")],
    cast: CastOption,
    each: Annotated[int, typer.Option(min=1, help="Pairs drawn of each template.")] = 2,
    only: OnlyOption = None,
) -> None:
    """Draw every template from three sides, one picture a position."""
    from .body import load_cast
    from .pairs_file import load_pairs
    from .sheet import write_sheets

    for path in write_sheets(out, load_pairs(*pairs), load_cast(cast), _chosen(only), each):
        typer.echo(str(path))


@app.command("mosaic")
def draw_mosaic(
    pairs: Annotated[list[Path], typer.Argument(help="Files of pairs.")],
    out: Annotated[Path, typer.Option(help="Picture to write (.webp, .png).")],
    cast: CastOption,
    count: Annotated[int, typer.Option(min=1, help="Pairs drawn, at random.")] = 60,
) -> None:
    """Draw pairs at random from files, compositions above all."""
    import cv2

    from .body import load_cast
    from .pairs_file import load_pairs
    from .sheet import mosaic

    picture = mosaic(load_pairs(*pairs), load_cast(cast), count)
    cv2.imwrite(str(out), picture, [cv2.IMWRITE_WEBP_QUALITY, 60])
    typer.echo(str(out))


@app.command("page")
def write_page(
    out: Annotated[Path, typer.Option(help="Markdown file to write.")],
    pictures: Annotated[str, typer.Option(help="Folder of the pictures, from the page.")],
    cast: Annotated[
        Path | None, typer.Option(help="A saved cast: solves and times each template by itself.")
    ] = None,
    each: Annotated[int, typer.Option(min=1, help="Pairs to solve of each.")] = 8,
    seed: int = 0,
) -> None:
    """Write the documentation page of all templates; with a cast, its table of figures too."""
    from .sheet import page

    solved, seconds = _solve_alone(cast, each, seed) if cast else ([], {})
    out.write_text(page(templates(), solved, pictures, seconds), encoding="utf-8")
    typer.echo(str(out))


def _solve_alone(cast: Path, each: int, seed: int) -> tuple[list[SolvedPair], dict[str, float]]:
    """Solve every template by itself: the pairs, and processor seconds a pair."""
    import torch

    from .body import load_cast
    from .solver import solve_all

    torch.set_num_threads(1)
    people = load_cast(cast)
    solved: list[SolvedPair] = []
    seconds = {}
    for name, template in templates().items():
        began = time.process_time()
        solved += solve_all([template] * each, people, seed)
        seconds[name] = (time.process_time() - began) / each
    return solved, seconds


def _chosen(only: list[str] | None) -> list[str]:
    known: dict[str, Template] = templates()
    names = choose(known, only or [])
    if not names:
        raise MatlineError(f"No template's name starts with {', '.join(only or [])}: see list.")
    return names


def _say_progress(done: int, total: int, spent: float) -> None:
    left = spent / done * (total - done)
    typer.echo(f"\r{done}/{total} batches, {left:.0f} s left   ", nl=done == total, err=True)


def _print_table(tallies: dict[str, Tally]) -> None:
    typer.echo(f"{'template':42s} {'accepted':>9s} {'contact':>8s} {'depth':>7s}")
    for name, t in tallies.items():
        typer.echo(
            f"{name:42s} {t.accepted:4d}/{t.solved:<4d} "
            f"{100 * t.contact:5.1f} cm {100 * t.penetration:4.1f} cm"
        )
