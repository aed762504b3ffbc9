"""Options that several commands share, said once."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pipeline.cli.saying import say

LibraryOption = Annotated[
    Path | None,
    typer.Option(
        "--library",
        metavar="FOLDER",
        envvar="MATLINE_LIBRARY",
        help="Where your bouts are kept; by default your own data folder.",
        show_default=False,
    ),
]
BackendOption = Annotated[
    str | None,
    typer.Option(
        "--backend",
        metavar="NAME",
        help="What reads the bodies: pair (our own network) or mediapipe.",
        show_default="the best one installed",
    ),
]
RateOption = Annotated[
    float | None,
    typer.Option("--rate", metavar="HZ", help="Samples a second.", show_default="5"),
]


def backend_or_default(name: str | None) -> str:
    """Return the reader meant; MediaPipe's models are fetched once, the first time it is used."""
    from pipeline.bodies import READERS, ensure_bundle
    from pipeline.overnight.work import default_backend

    name = name or default_backend()
    if name == "mediapipe" and not READERS[name][1]():
        say("Fetching the models of the MediaPipe reader, once …", err=True)
        ensure_bundle()
    return name
