"""`matline bouts` and `matline review`."""

from __future__ import annotations

from typing import Annotated

import typer

from pipeline.cli.options import LibraryOption
from pipeline.cli.saying import say


def register(app: typer.Typer) -> None:
    """Add this module's commands."""
    app.command("bouts")(bouts_command)
    app.command("review")(review_command)
    app.command("remove")(remove_command)


def bouts_command(library: LibraryOption = None) -> None:
    """List the bouts of the library, and how much of each a human has seen."""
    from pipeline.library import Library
    from pipeline.timeline import clock

    shelf = Library(library)
    for bout in shelf.bouts():
        seen = bout.counts["accepted"] + bout.counts["corrected"]
        state = f"{seen} of {sum(bout.counts.values())} seen" if bout.reader else "not read"
        say(f"{bout.id}  {clock(bout.end_s - bout.start_s):>8}  {state:>14}  {bout.title}")
    if not shelf.bouts():
        say("The library is empty; start with `matline read VIDEO`.", err=True)


def review_command(
    bout: Annotated[str | None, typer.Argument(help="Open this bout rather than the list.")] = None,
    port: Annotated[int, typer.Option(help="0 takes any free one.")] = 0,
    open_browser: Annotated[
        bool, typer.Option("--open/--no-open", help="Open the page in your browser.")
    ] = True,
    library: LibraryOption = None,
) -> None:
    """Open the page on which you watch and correct; it stays on this machine."""
    from pipeline.review.server import serve

    serve(library, port, bout_id=bout, open_browser=open_browser)


def remove_command(
    bouts: Annotated[list[str], typer.Argument(metavar="BOUT...", help="Ids or titles.")],
    sure: Annotated[bool, typer.Option("--yes", help="Don't ask.")] = False,
    library: LibraryOption = None,
) -> None:
    """Remove bouts with all that was read and corrected of them; the footage itself stays."""
    from pipeline.library import Library, find_bout

    shelf = Library(library)
    for asked in bouts:
        bout = find_bout(shelf, asked)
        if sure or typer.confirm(f"Remove {bout.title}, corrections included, for good?"):
            shelf.remove_bout(bout.id)
            say(f"{bout.title} is removed; {bout.footage} is left as it is.")
