"""``python -m models.training.scenes.second_renderer``: describe scenes, gather what was drawn."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from ..body import load_cast
from ..pairs_file import load_pairs

app = typer.Typer(no_args_is_help=True, help="Pictures by a renderer that is not ours.")

PairsFiles = Annotated[list[Path], typer.Option(help="Files of solved pairs; repeatable.")]
CastFile = Annotated[Path, typer.Option(help="The cast they were solved for.")]
Scenes = Annotated[Path, typer.Option(help="Folder of scenes and what is drawn of them.")]
Out = Annotated[Path, typer.Option(help="Folder for the shards.")]


@app.command("describe")
def describe_command(
    pairs: PairsFiles,
    cast: CastFile,
    scenes: Scenes,
    views: Annotated[int, typer.Option(min=1, help="Cameras a scene.")] = 1,
    long_side: Annotated[int, typer.Option(min=64, help="Of a picture, pixels.")] = 512,
    seed: int = 0,
) -> None:
    """Write scenes for `draw`, which runs in a Python that has bpy."""
    from .describe import describe_all

    written = describe_all(load_pairs(*pairs), load_cast(cast), scenes, seed, views, long_side)
    typer.echo(f"{len(written)} scenes in {scenes}")


@app.command("gather")
def gather_command(pairs: PairsFiles, scenes: Scenes, out: Out, seed: int = 0) -> None:
    """Put what is drawn so far into shards."""
    from .gather import gather

    typer.echo(f"{gather(scenes, load_pairs(*pairs), out, seed)} pictures in {out}")


@app.command("same-views")
def same_views_command(
    pairs: PairsFiles, cast: CastFile, scenes: Scenes, out: Out, seed: int = 0
) -> None:
    """Draw the same pairs from the same cameras with our own renderer."""
    from .gather import same_views

    count = same_views(scenes, load_pairs(*pairs), load_cast(cast), out, seed, typer.echo)
    typer.echo(f"{count} pictures in {out}")


if __name__ == "__main__":
    app()
