"""`matline keypoints`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pipeline.cli.options import BackendOption, RateOption, backend_or_default
from pipeline.cli.saying import say
from pipeline.text import counted


def register(app: typer.Typer) -> None:
    """Add this module's commands."""
    app.command("keypoints")(keypoints_command)


def keypoints_command(
    files: Annotated[list[Path], typer.Argument(metavar="FILE...", help="Pictures or videos.")],
    to: Annotated[Path, typer.Option("--to", metavar="FILE", help="COCO keypoint JSON.")] = Path(
        "keypoints.json"
    ),
    backend: BackendOption = None,
    pair_region: Annotated[
        str | None,
        typer.Option(
            "--pair-region",
            metavar="X0,Y0,X1,Y1|CSV",
            help="Where the pair is, in pixels, or a CSV of file,x0,y0,x1,y1: reads exactly the "
            "two there.",
        ),
    ] = None,
    rate: RateOption = None,
) -> None:
    """Write the skeletons of pictures or videos as COCO keypoint JSON."""
    from pipeline.bodies.pair import PairReader
    from pipeline.cli.progress import Progress
    from pipeline.library.atomic import check_target
    from pipeline.outputs.coco import write_coco
    from pipeline.outputs.skeletons import parse_regions, read_skeletons
    from pipeline.overnight.work import reader_of

    check_target(to)
    regions = parse_regions(pair_region) if pair_region else None
    name = backend_or_default(backend)
    # A picture has no neighbours to steady it, so the pair reader looks at its mirror image too.
    reader = PairReader(flip=True) if name == "pair" else reader_of(name)
    with Progress("Reading") as progress:
        pictures = read_skeletons(files, reader, regions, rate, progress)
    write_coco(pictures, to)
    people = sum(len(picture.bodies) for picture in pictures)
    persons = "1 person" if people == 1 else f"{people} people"
    say(f"{to}: {counted(len(pictures), 'picture')}, {persons}")
