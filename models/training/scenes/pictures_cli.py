"""``pictures`` and ``textures``: render training shards, and gather what they are printed with."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

app = typer.Typer(no_args_is_help=True)

# Pictures of people and of brands in the packages that docs/rendering.md names: nobody unlabelled
# may stand behind a pair.
LEFT_OUT = (
    "astronaut", "camera", "lena", "messi", "hopper", "face", "avatar", "left0", "left1", "right0",
    "right1", "mask", "people", "person", "man", "bus", "groot", "faust", "ill1",
)  # fmt: skip


@app.command("pictures")
def make_pictures(
    pairs: Annotated[list[Path], typer.Option(help="Files of solved pairs; repeatable.")],
    cast: Annotated[Path, typer.Option(help="The cast they were solved for.")],
    out: Annotated[Path, typer.Option(help="Folder for the shards.")],
    textures: Annotated[Path | None, typer.Option(help="File made by textures.")] = None,
    workers: Annotated[int, typer.Option(min=1, help="Processes.")] = 1,
    seconds: Annotated[float | None, typer.Option(help="Stop after so long.")] = None,
    count: Annotated[int | None, typer.Option(help="Stop after so many pictures.")] = None,
    seed: int = 0,
    views: Annotated[int, typer.Option(min=1, help="Cameras a scene.")] = 4,
    long_side: Annotated[int, typer.Option(min=64, help="Of a picture, pixels.")] = 448,
    shard_size: Annotated[int, typer.Option(min=1, help="Pictures a shard.")] = 2000,
    devices: Annotated[int, typer.Option(help="GPUs to share; 0 takes what EGL offers first.")] = 0,
    varied: Annotated[bool, typer.Option(help="Draw poses around the solved ones.")] = False,
    leave_out_fold: Annotated[
        int | None, typer.Option(min=0, max=4, help="Show no pose of these families.")
    ] = None,
) -> None:
    """Render training shards; those that are done can be read while the rest is made."""
    from .shards import Order, render

    order = Order(tuple(pairs), cast, out, textures, workers, seconds, count, seed, views,
                  long_side, shard_size, devices, varied, leave_out_fold)  # fmt: skip
    written = render(order, typer.echo)
    typer.echo(f"{len(written)} shards in {out}")


@app.command("textures")
def gather_textures(
    sources: Annotated[list[Path], typer.Argument(help="Folders, wheels, zip files, pictures.")],
    out: Annotated[Path, typer.Option(help="File to write (.npz).")],
    photos: Annotated[int, typer.Option(min=1)] = 96,
    backdrops: Annotated[int, typer.Option(min=0)] = 96,
    seed: int = 0,
) -> None:
    """Cut textures from photographs; pictures known to show people are left out."""
    from .textures import gather, make_textures, save_textures

    source = gather(sources, LEFT_OUT)
    save_textures(out, make_textures(source, photos, backdrops, seed))
    typer.echo(
        f"{photos} photos and {backdrops} backdrops from {len(source.photographs)} photographs "
        f"and {len(source.panoramas)} panoramas: {out}"
    )
