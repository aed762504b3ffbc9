"""``python -m models.training.positions``: bouts, train, evaluate, families."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Annotated

import numpy as np
import typer

from models.training.command import run
from models.training.positions.data import (
    QUICK_STEPS,
    UNSEEN,
    UNSEEN_READ,
    Order,
    load_bouts,
    make_bouts,
    pack_bouts,
)
from models.training.positions.evaluate import evaluate, summary
from models.training.positions.families.cli import app as families
from models.training.positions.train import Recipe, train
from models.training.scenes.misread import TABLE
from pipeline.errors import MatlineError
from pipeline.positions import PositionModel
from pipeline.positions.model import shipped_model

app = typer.Typer(
    help="Train and judge the position model on bouts whose truth is known.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
)
app.add_typer(families)
Bouts = Annotated[Path, typer.Option(help="Folder of bouts.")]
Model = Annotated[Path | None, typer.Option(help="Model file; the shipped one if left out.")]


@app.command("bouts")
def bouts_command(
    out: Annotated[Path, typer.Option(help="Folder to write to.")],
    cast: Annotated[Path, typer.Option(help="Cast, from “scenes positions cast”.")],
    pairs: Annotated[Path, typer.Option(help="Pairs, from “scenes positions solve”.")],
    count: Annotated[int, typer.Option(min=1)] = 100,
    seconds: Annotated[float, typer.Option(help="Length of each.")] = 60.0,
    first_seed: int = 0,
    people: Annotated[str, typer.Option(help="Rows of the cast, first:last.")] = "0:1000",
    workers: Annotated[int, typer.Option(min=1)] = 1,
    steps: Annotated[int, typer.Option(min=1, help="Of settling; 40 to judge by.")] = QUICK_STEPS,
) -> None:
    """Make moving bouts without pictures; what is already there is kept."""
    from models.training.scenes.body import load_cast

    size = len(load_cast(cast))
    first, last = (min(int(part), size) for part in people.split(":"))
    if last - first < 2:
        raise MatlineError(f"--people {people} leaves {last - first} of {size} people; give two.")
    out.mkdir(parents=True, exist_ok=True)
    orders = []
    for seed in range(first_seed, first_seed + count):
        a, b = np.random.default_rng(seed).permutation(np.arange(first, last))[:2]
        orders.append(Order(seed, (int(a), int(b)), seconds, cast, pairs, out, steps))
    began = time.monotonic()
    for done, name in enumerate(make_bouts(orders, workers), 1):
        spent = time.monotonic() - began
        typer.echo(f"{name}: {done} of {count}, {spent:.0f} s", err=True)


@app.command("train")
def train_command(
    bouts: Bouts,
    out: Annotated[
        Path | None, typer.Option(help="Model file; the shipped one if left out.")
    ] = None,
    views: int = Recipe.views,
    epochs: int = Recipe.epochs,
    seed: int = 0,
    workers: Annotated[int, typer.Option(min=1)] = 1,
    readings: Annotated[
        list[Path] | None, typer.Option(help="Filmed bouts as read, from “read”; repeatable.")
    ] = None,
) -> None:
    """Fit and calibrate the model."""
    from models.training.positions.readings import load_readings

    recipe = Recipe(views=views, epochs=epochs, seed=seed, workers=workers)
    read = [reading for path in readings or () for reading in load_readings(path)]
    stored = load_bouts(bouts)
    model = train(stored, recipe, lambda text: typer.echo(text, err=True), read)
    path = out or shipped_model()
    model.save(path)
    typer.echo(f"{path}: {path.stat().st_size / 1e6:.1f} MB")


@app.command("pack")
def pack_command(
    bouts: Bouts,
    out: Annotated[Path, typer.Option(help="File to write.")] = UNSEEN,
) -> None:
    """Put bouts into one small file for “evaluate”."""
    pack_bouts(load_bouts(bouts), out)
    typer.echo(f"{out}: {out.stat().st_size / 1e6:.1f} MB")


@app.command("evaluate")
def evaluate_command(
    bouts: Annotated[Path, typer.Option(help="Folder of bouts, or a packed file.")] = UNSEEN,
    model: Annotated[
        Path | None, typer.Option(help="Model file; the shipped one if left out.")
    ] = None,
    rate_hz: float = 5.0,
    readings: Annotated[
        Path, typer.Option(help="Filmed bouts as read, from “read”; those at hand by default.")
    ] = UNSEEN_READ,
) -> None:
    """Print how well timelines come out on bouts that training never saw."""
    from models.training.positions.readings import load_readings

    read = load_readings(readings) if readings != UNSEEN_READ or readings.is_file() else []
    judged = evaluate(PositionModel.load(model), load_bouts(bouts), rate_hz, readings=read)
    typer.echo(summary(judged))


@app.command("read")
def read_command(
    films: Annotated[Path, typer.Option(help="Folder of films, from “scenes bouts films”.")],
    bouts: Annotated[Path, typer.Option(help="Folder of the bouts they are of.")],
    out: Annotated[Path, typer.Option(help="File of readings to write.")],
    reader: Annotated[str, typer.Option(help="pair or mediapipe.")] = "pair",
    starts: Annotated[str, typer.Option(help="Only films whose name starts so.")] = "",
) -> None:
    """Read filmed bouts, to train on and judge by what a reader makes of them."""
    from models.training.positions.readings import read_films, save_readings
    from pipeline.bodies import make_reader

    readings = []
    for reading in read_films(films, bouts, make_reader(reader, threads=1), reader, starts):
        readings.append(reading)
        save_readings(readings, out)
        typer.echo(f"{reading.name}: {len(reading.times)} samples, {reading.swaps} swaps", err=True)
    typer.echo(f"{out}: {len(readings)} bouts")


@app.command("misread")
def misread_command(
    shards: Annotated[Path, typer.Option(help="Folder of rendered pictures, never trained on.")],
    out: Annotated[Path, typer.Option(help="Table to write.")] = TABLE,
) -> None:
    """Measure how the pair reader errs, for the readings that training sees."""
    from models.training.positions.misreading import measure
    from pipeline.bodies.pair import PairReader

    table = measure(PairReader(), shards)
    partial = out.with_suffix(".partial")
    table.to_csv(partial, index=False)
    partial.replace(out)
    typer.echo(f"{out}: {table['count'].sum()} keypoints")


@app.command("judged")
def judged_command(
    pairs: Annotated[Path, typer.Option(help="Pairs, from “scenes positions solve”.")],
    cast: Annotated[Path, typer.Option(help="Cast that they were solved for.")],
    below: Annotated[float, typer.Option(help="Print families that agree less often.")] = 0.98,
    sheet: Annotated[Path | None, typer.Option(help="Picture of examples to write.")] = None,
) -> None:
    """Print how often geometry names solved pairs as their templates do."""
    from models.training.positions.judged import judged, report
    from models.training.scenes.body import load_cast
    from models.training.scenes.pairs_file import load_pairs

    found = judged(load_pairs(pairs), load_cast(cast))
    typer.echo(report(found, below))
    if sheet is not None:
        import cv2

        from models.training.positions import judged_sheet
        from pipeline.library import written_whole

        _, picture = cv2.imencode(sheet.suffix, judged_sheet.sheet(found), [64, 70])
        with written_whole(sheet) as partial:
            partial.write_bytes(picture.tobytes())


def main() -> None:
    """Run the command; an expected failure is one sentence and exit code 1."""
    run(app)


if __name__ == "__main__":
    main()
