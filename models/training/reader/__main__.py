"""``python -m models.training.reader``: train, export and measure the pair reader."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from models.training.command import run
from pipeline.errors import MatlineError

app = typer.Typer(no_args_is_help=True, help="Training of the pair reader and the pair finder.")

Shards = Annotated[Path, typer.Option(help="Folder of training shards; may still be filling.")]
HeldOut = Annotated[Path, typer.Option(help="Folder of held-out shards.")]
Start = Annotated[
    Path | None,
    typer.Option(
        "--initial",
        help="Folder of the published MoveNet MultiPose files, or of exported networks.",
    ),
]
Out = Annotated[Path, typer.Option(help="Folder for weights and checkpoint.")]


@app.command()
def read(
    shards: Shards,
    held_out: HeldOut,
    out: Out,
    start: Start = None,
    minutes: float = 12.0,
    until: Annotated[float | None, typer.Option(help="Unix time to be done by, instead.")] = None,
    batch: int = 256,
    capacity: Annotated[int, typer.Option(help="Crops kept on a GPU, 0.33 MB each.")] = 90_000,
    first_crops: int = 4000,
    seed: int = 1,
    fine_layers: Annotated[int, typer.Option(help="Attention layers at stride 16.")] = 4,
    hidden_weight: Annotated[float, typer.Option(help="Of a hidden keypoint, visible 1.")] = 0.5,
    restyled: Annotated[float, typer.Option(help="Share of pictures given other texture.")] = 0.0,
    photos: Annotated[Path | None, typer.Option(help="File made by textures.")] = None,
    after: Annotated[Path | None, typer.Option(help="Begin when this file is there.")] = None,
) -> None:
    """Train the pair reader (under torchrun for several GPUs); goes on where it stopped."""
    from models.training.reader.train import Recipe, Training

    recipe = Recipe(
        minutes=minutes, until=until, batch=batch, capacity=capacity, first_crops=first_crops,
        seed=seed, fine_layers=fine_layers, hidden_weight=hidden_weight, restyled=restyled,
    )  # fmt: skip
    Training(recipe, shards, held_out, start, out, photos).run(after=after)


@app.command()
def find(
    shards: Shards,
    held_out: HeldOut,
    out: Out,
    start: Start = None,
    minutes: float = 4.0,
    most: int = 30_000,
    device: str | None = None,
) -> None:
    """Train the pair finder."""
    import torch

    from models.training.reader.find import train_finder

    train_finder(
        sorted(shards.glob("*.npz")),
        sorted(held_out.glob("*.npz")),
        start,
        out,
        minutes,
        most,
        device=torch.device(device) if device else None,
    )


@app.command()
def recipe(
    out: Annotated[Path, typer.Option(help="Folder for everything made on the way.")],
    cast: Annotated[Path, typer.Option(help="Bodies to train on (positions cast).")],
    held_cast: Annotated[Path, typer.Option(help="Bodies to measure on.")],
    start: Start = None,
    textures: Annotated[Path | None, typer.Option(help="File made by textures.")] = None,
    workers: int = 30,
    gpus: int = 1,
    solve_s: float = 200,
    render_s: float = 420,
    train_min: float = 14,
    find_min: float = 4,
    per_template: int = 1200,
    held_out: int = 6000,
    long_side: int = 512,
    seed: int = 1,
    leave_out_fold: Annotated[
        int | None, typer.Option(min=0, max=4, help="Learn nothing from these families.")
    ] = None,
) -> None:
    """Solve, render and train both networks; goes on where it stopped."""
    from models.training.reader.recipe import Plan, run_recipe

    plan = Plan(
        workers, gpus, solve_s, render_s, train_min, find_min, per_template, held_out, long_side,
        seed, leave_out_fold,
    )  # fmt: skip
    run_recipe(plan, out, start, cast, held_cast, textures)


@app.command()
def export(
    weights: Annotated[Path, typer.Option(help="Folder with pair_reader.npz, pair_finder.npz.")],
    held_out: Annotated[
        Path | None, typer.Option(help="Held-out shards to fit the confidence on.")
    ] = None,
    out: Annotated[Path, typer.Option(help="Folder for the ONNX files.")] = Path("models"),
    begun: Annotated[
        Path | None, typer.Option(help="ONNX file to average with: the start, or another run's.")
    ] = None,
    share: Annotated[float, typer.Option(min=0, max=1, help="Of what it came to, then.")] = 0.5,
) -> None:
    """Write the ONNX files that the package uses."""
    from models.training.reader.average import averaged
    from models.training.reader.export import (
        export_finder,
        fit_confidence,
        trained_reader,
        write_reader,
    )
    from models.training.reader.judge import judge
    from pipeline.bodies.pair import PairReader

    reader, finder = out / "pair_reader.onnx", out / "pair_finder.onnx"
    if (weights / "pair_finder.npz").is_file():
        typer.echo(f"{finder.name}: {export_finder(weights / 'pair_finder.npz', finder)}")
    if (weights / "pair_reader.npz").is_file():
        trained = weights / "pair_reader.npz"
        net, facts = averaged(begun, trained, share) if begun else trained_reader(trained)
        write_reader(net, facts, reader)
        typer.echo(f"{reader.name}: {facts}")
        if held_out is not None:
            found = judge(PairReader(reader=reader, finder=finder), held_out)
            fit = fit_confidence(found.confidence, found.right)
            write_reader(net, facts, reader, fit)
            typer.echo(f"confidence {fit}")


@app.command("judge")
def judge_command(
    held_out: HeldOut,
    mirror: Annotated[bool, typer.Option(help="Average with the mirrored crop.")] = False,
) -> None:
    """Measure the package's reader, as it runs, on held-out shards."""
    from models.training.reader.judge import judge
    from pipeline.bodies.pair import PairReader

    typer.echo(str(judge(PairReader(flip=mirror), held_out).figures()))


@app.command()
def families(
    runs: Annotated[
        list[Path] | None,
        typer.Argument(help="Folders of recipes that each left a fold out; pooled."),
    ] = None,
    held_out: Annotated[
        Path | None, typer.Option(help="Held-out shards; each run's own by default.")
    ] = None,
    weights: Annotated[
        Path | None, typer.Option(help="Weights (.npz) or network (.onnx), instead of runs.")
    ] = None,
    fold: Annotated[
        int, typer.Option(min=-1, max=4, help="That these weights left out; −1: none.")
    ] = -1,
    out: Annotated[Path | None, typer.Option(help="JSON to write; a table goes beside it.")] = None,
    workers: Annotated[int, typer.Option(min=1)] = 1,
) -> None:
    """Measure readers on families that they never saw, and on those they learned from."""
    import json

    from models.training.reader.families import Run, judge_runs, markdown
    from pipeline.library import written_whole

    if weights is not None and held_out is None:
        raise MatlineError("Weights alone can't be judged: name pictures with --held-out.")
    chosen = [Run.of(folder, held_out) for folder in runs or ()]
    if weights is not None and held_out is not None:
        chosen.append(Run(weights, fold, held_out))
    if not chosen:
        raise MatlineError("Nothing to judge: name folders of runs, or --weights and --held-out.")
    judged = judge_runs(chosen, workers)
    text = markdown(judged)
    for path, content in (
        ((out, json.dumps(judged, indent=1) + "\n"), (out.with_suffix(".md"), text)) if out else ()
    ):
        with written_whole(path) as part:
            part.write_text(content, encoding="utf-8")
    typer.echo(text)


def main() -> None:
    """Run the command; an expected failure is one sentence and exit code 1."""
    run(app)


if __name__ == "__main__":
    main()
