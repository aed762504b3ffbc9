"""`matline check`: what is installed, what is missing, how to get it."""

from __future__ import annotations

import sys
from collections.abc import Callable
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.options import LibraryOption
from pipeline.cli.saying import say
from pipeline.errors import MatlineError
from pipeline.text import counted

if TYPE_CHECKING:
    from pipeline.library import Restored

_PACKAGES = (
    "av",
    "numpy",
    "pandas",
    "pyarrow",
    "scikit-learn",
    "onnxruntime",
    "mediapipe",
    "fastapi",
)


def register(app: typer.Typer) -> None:
    """Add this module's commands."""
    app.command("check")(check_command)


def check_command(
    fetch: Annotated[
        bool, typer.Option("--fetch", help="Get what is missing and can be fetched.")
    ] = False,
    library: LibraryOption = None,
) -> None:
    """Say what is installed, what is missing, and how to get it; is the library sound?"""
    if fetch:
        from pipeline.bodies import ensure_bundle

        say(f"  fetched  MediaPipe's models: {ensure_bundle()}")
    steps: list[tuple[str, Callable[[], str]]] = [
        ("Python", lambda: sys.version.split()[0]),
        *((name, lambda name=name: _version(name)) for name in _PACKAGES),
        ("pair reader", lambda: _reader("pair")),
        ("MediaPipe reader", lambda: _reader("mediapipe")),
        ("position model", _position_model),
        ("copies for browsers", _encoder),
        ("library", lambda: _library(library)),
    ]
    failed = [what for what, step in steps if not _passes(what, step)]
    if failed:
        raise typer.Exit(1)


def _passes(what: str, step: Callable[[], str]) -> bool:
    try:
        say(f"  ok       {what}: {step()}")
    except MatlineError as error:
        say(f"  MISSING  {what}: {error}")
        return False
    return True


def _restored(made: Restored) -> str:
    changes = counted(made.changes, "later change")
    aside = f"; the damaged file is now {made.aside}" if made.aside else ""
    return f"library: the copy of {made.made_at}, with {changes}{aside}"


def _version(package: str) -> str:
    try:
        return version(package)
    except PackageNotFoundError:
        raise MatlineError(f"not installed; run `pip install {package}`.") from None


def _reader(backend: str) -> str:
    from pipeline.bodies import make_reader

    return make_reader(backend).name


def _position_model() -> str:
    from pipeline.positions import PositionModel

    return PositionModel.load().version or "loads"


def _encoder() -> str:
    from av.codec import Codec
    from av.codec.codec import UnknownCodecError

    try:
        return Codec("libx264", "w").long_name
    except UnknownCodecError:
        raise MatlineError(
            "this PyAV can't write H.264; `pip install --force-reinstall av` brings one that can."
        ) from None


def _library(root: Path | None) -> str:
    from pipeline.library import Damaged, Library, restore

    try:
        shelf = Library(root)
        problems = shelf.problems()
    except Damaged as error:
        say(f"  DAMAGED  library: {error}")
        say(f"  RESTORED {_restored(restore(root))}")
        shelf = Library(root)
        problems = shelf.problems()
    if problems:
        raise MatlineError(" ".join(problems))
    return f"{shelf.root}, {counted(len(shelf.bouts()), 'bout')}, sound"
