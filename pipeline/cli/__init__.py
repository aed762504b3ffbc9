"""The command `matline`: thin lines over library calls, one module a group of commands."""

from __future__ import annotations

import sys
from importlib import metadata
from typing import Annotated

import typer

import pipeline.cli.check as check
import pipeline.cli.describe as describe
import pipeline.cli.files as files
import pipeline.cli.learn as learn
import pipeline.cli.pictures as pictures
import pipeline.cli.reading as reading
import pipeline.cli.showing as showing
import pipeline.cli.study as study
from pipeline.errors import MatlineError
from pipeline.text import printable

app = typer.Typer(
    help="Reads footage of grappling bouts into a timeline that you correct in minutes.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)
for group in (reading, showing, describe, study, learn, files, pictures, check):
    group.register(app)


@app.callback(invoke_without_command=True)
def _about(
    version: Annotated[bool, typer.Option("--version", help="Say which version this is.")] = False,
) -> None:
    if version:
        typer.echo(f"matline {metadata.version('matline')}")
        raise typer.Exit


_STOPPED = 130
"""How typer ends after Ctrl-C, as shells do: 128 and the signal's number."""


def main() -> None:
    """Run a command; a user's error is one sentence and exit code 1 (2 for wrong usage)."""
    try:
        app()
    except MatlineError as error:
        print(f"matline: {printable(' '.join(str(error).split()))}", file=sys.stderr)
        sys.exit(1)
    except SystemExit as ended:
        if ended.code == _STOPPED:
            print("\nStopped. What was done is kept; the same command goes on.", file=sys.stderr)
        raise


__all__ = ["app", "main"]
