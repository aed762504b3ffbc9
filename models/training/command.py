"""Running a command of the training side."""

from __future__ import annotations

import sys

import typer

from pipeline.errors import MatlineError


def run(app: typer.Typer) -> None:
    """Run a command; an expected failure is one sentence and exit code 1."""
    try:
        app()
    except MatlineError as error:
        typer.echo(str(error), err=True)
        sys.exit(1)
