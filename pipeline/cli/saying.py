"""What commands print: titles and file names may hold anything, also codes for terminals."""

from __future__ import annotations

import typer

from pipeline.text import printable


def say(line: object, err: bool = False) -> None:
    """Print one line, on standard error if `err`."""
    typer.echo(printable(str(line)), err=err)
