"""``python -m models.training.scenes``: positions, pictures, bouts."""

from __future__ import annotations

import importlib

import typer

from models.training.command import run

app = typer.Typer(
    help="Make training and test material: positions, pictures with their truth, moving bouts.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
)


def _add(module: str, name: str | None) -> None:
    """Add the commands of a module, as a group or, without a name, directly."""
    try:
        commands = importlib.import_module(f"models.training.scenes.{module}").app
    except ImportError as error:  # an extra is missing: the other commands still work
        typer.echo(f"Without {error.name or module} there are no {module} commands.", err=True)
        return
    app.add_typer(commands, name=name)


def main() -> None:
    """Run the command; an expected failure is one sentence and exit code 1."""
    for module, name in (
        ("positions_cli", "positions"),
        ("pictures_cli", None),
        ("bouts_cli", "bouts"),
        ("physics.cli", "physics"),
    ):
        _add(module, name)
    run(app)


if __name__ == "__main__":
    main()
