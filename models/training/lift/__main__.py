"""``python -m models.training.lift``: train the lift, and judge it on families left out."""

from __future__ import annotations

import json
import sys
from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import numpy as np
import torch
import typer

from models.training.command import run
from models.training.lift.judge import judge
from models.training.lift.material import Film, Poses, of_bouts, of_pairs, without
from models.training.lift.train import Recipe, facts_of, save, train

app = typer.Typer(no_args_is_help=True, help="Training of the pair lift.")
CastOption = Annotated[Path, typer.Option(help="The cast that the pairs index.")]


@app.command("train")
def train_command(
    pairs: Annotated[list[Path], typer.Argument(help="Files of solved pairs.")],
    cast: CastOption,
    out: Annotated[Path, typer.Option(help="File of weights to write (.npz).")],
    bouts: Annotated[Path | None, typer.Option(help="Folder of made-up bouts.")] = None,
    held_pairs: Annotated[Path | None, typer.Option(help="Pairs to judge on.")] = None,
    held_cast: Annotated[Path | None, typer.Option(help="Their cast.")] = None,
    leave_out: Annotated[int, typer.Option(help="Fold of families to leave out; −1: none.")] = -1,
    minutes: float = 4.0,
    width: int = 320,
    batch: int = 768,
    seed: int = 0,
    device: str = "cuda",
) -> None:
    """Train on solved pairs and bouts; judge on the families left out, or on all held ones."""
    from models.training.positions.data import load_bouts
    from models.training.scenes.body import load_cast
    from models.training.scenes.families import left_out
    from models.training.scenes.pairs_file import load_pairs

    people = load_cast(cast)
    poses = Poses.joined([of_pairs(load_pairs(path), people) for path in pairs])
    film: Film | None = of_bouts(load_bouts(bouts)) if bouts else None
    held = (
        of_pairs(load_pairs(held_pairs), load_cast(held_cast)) if held_pairs and held_cast else None
    )
    if leave_out >= 0:
        gone = left_out(leave_out)
        poses = without(poses, gone)
        if held is not None:
            held = held[np.isin(held.family, list(gone))]
    recipe = Recipe(minutes=minutes, width=width, batch=batch, seed=seed)
    check = (lambda net: str(judge(net, held))) if held is not None else None
    net = train(poses, film, recipe, torch.device(device), check=check, say=_say)
    figures = asdict(judge(net, held)) if held is not None else {}
    save(net, out, facts_of(recipe, poses, film, figures))
    _say(json.dumps(figures.get("confusion", {})))


@app.command("export")
def export_command(
    weights: Annotated[Path, typer.Argument(help="File of weights (.npz).")],
    out: Annotated[Path, typer.Option(help="ONNX file to write.")],
    temperature: Annotated[float, typer.Option(help="Logits are divided by it.")] = 1.0,
) -> None:
    """Write the ONNX file that the package uses."""
    from models.training.lift.export import export

    export(weights, out, temperature)
    _say(str(out))


def _say(words: str) -> None:
    typer.echo(words)
    sys.stdout.flush()


def main() -> None:
    """Run the command; an expected failure is one sentence and exit code 1."""
    run(app)


if __name__ == "__main__":
    main()
