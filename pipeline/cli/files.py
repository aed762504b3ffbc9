"""`matline export` and `matline import`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pipeline.cli.options import LibraryOption
from pipeline.cli.saying import say
from pipeline.text import counted


def register(app: typer.Typer) -> None:
    """Add this module's commands."""
    app.command("export")(export_command)
    app.command("import")(import_command)


def export_command(
    bouts: Annotated[
        list[str] | None,
        typer.Argument(metavar="[BOUT]...", help="Ids or titles, from `matline bouts`; else all."),
    ] = None,
    to: Annotated[Path, typer.Option("--to", metavar="FOLDER")] = Path("."),
    formats: Annotated[
        list[str] | None,
        typer.Option("--format", help="csv, vtt, json, otio, package; may be repeated."),
    ] = None,
    library: LibraryOption = None,
) -> None:
    """Write timelines as they stand: CSV for spreadsheets, WebVTT for players, JSON."""
    from pipeline.library import Library, find_bout
    from pipeline.outputs import export_bout

    shelf = Library(library)
    chosen = [find_bout(shelf, bout).id for bout in bouts or ()]
    chosen = chosen or [bout.id for bout in shelf.bouts() if bout.reader]
    for bout in chosen:
        for path in export_bout(shelf, bout, to, formats or ["csv", "vtt", "json"]):
            say(path)
    if not chosen:
        say("No bout has been read yet; start with `matline read VIDEO`.", err=True)


def import_command(
    files: Annotated[
        list[Path], typer.Argument(metavar="FILE...", help="CSV, WebVTT, JSON, OTIO.")
    ],
    bout: Annotated[
        str | None, typer.Option("--bout", help="By default, the id at the end of its name.")
    ] = None,
    library: LibraryOption = None,
) -> None:
    """Read edited files back: each edit becomes a correction that can be undone."""
    from pipeline.library import Library, find_bout
    from pipeline.outputs import import_file

    shelf = Library(library)
    bout = find_bout(shelf, bout).id if bout else None
    for path in files:
        made = import_file(shelf, path, bout)
        say(f"{path}: {counted(len(made), 'correction')}")
