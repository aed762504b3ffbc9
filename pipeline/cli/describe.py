"""`matline describe`, `matline link` and `matline unlink`."""

from __future__ import annotations

from datetime import date as Date
from typing import Annotated, Any

import typer

from pipeline.cli.options import LibraryOption
from pipeline.cli.saying import say
from pipeline.errors import MatlineError


def register(app: typer.Typer) -> None:
    """Add this module's commands."""
    app.command("describe")(describe_command)
    app.command("link")(link_command)
    app.command("unlink")(unlink_command)


def describe_command(
    bouts: Annotated[
        list[str],
        typer.Argument(metavar="BOUT...", help="Ids or titles, as `matline bouts` lists."),
    ],
    a: Annotated[str | None, typer.Option("--a", metavar="NAME", help="Who athlete A is.")] = None,
    b: Annotated[str | None, typer.Option("--b", metavar="NAME", help="Who athlete B is.")] = None,
    ours: Annotated[
        str | None, typer.Option("--ours", help="a or b: whose side reports take.")
    ] = None,
    event: Annotated[str | None, typer.Option(metavar="NAME")] = None,
    date: Annotated[str | None, typer.Option(metavar="DATE", help="2026-03-01")] = None,
    ruleset: Annotated[
        str | None,
        typer.Option(metavar="NAME", help="international_federation …, or your own .toml file."),
    ] = None,
    title: Annotated[str | None, typer.Option(metavar="TEXT")] = None,
    library: LibraryOption = None,
) -> None:
    """Say who fought, where, when and under which rules; what is left out stays."""
    from pipeline.library import Library, find_bout

    shelf = Library(library)
    details: dict[str, Any] = {"event": event, "date": _day(date), "ruleset": ruleset}
    details |= {"title": title, "we": ours.upper() if ours else None}
    details = {name: value for name, value in details.items() if value is not None}
    names = {athlete: name for athlete, name in (("A", a), ("B", b)) if name is not None}
    for bout in bouts:
        found = find_bout(shelf, bout)
        made = shelf.update_bout(found.id, **details, **({"names": names} if names else {}))
        told = (made.names["A"] or "A", "–", made.names["B"] or "B", made.event, made.date)
        say(f"{made.id}  {made.title}: {' '.join(filter(None, told))}")


def link_command(
    bout: Annotated[str, typer.Argument(metavar="BOUT", help="Id or title.")],
    other: Annotated[str, typer.Argument(metavar="OTHER", help="The same fight, another camera.")],
    offset: Annotated[
        float,
        typer.Option(
            "--offset", metavar="S", help="What BOUT shows at t seconds, OTHER shows at t + S."
        ),
    ] = 0.0,
    library: LibraryOption = None,
) -> None:
    """Say that two bouts are one fight, seen by two cameras; reports then count it once."""
    from pipeline.library import Library, find_bout

    shelf = Library(library)
    first, second = find_bout(shelf, bout), find_bout(shelf, other)
    shelf.link(first.id, second.id, offset)
    for one, offset_s in shelf.cameras(first.id).items():
        say(f"{first.title} at 0 s is {shelf.bout(one).title} at {offset_s:g} s.")


def unlink_command(
    bouts: Annotated[list[str], typer.Argument(metavar="BOUT...", help="Ids or titles.")],
    library: LibraryOption = None,
) -> None:
    """Take bouts out of the fight they were linked into; they count for themselves again."""
    from pipeline.library import Library, find_bout

    shelf = Library(library)
    for asked in bouts:
        bout = find_bout(shelf, asked)
        shelf.unlink(bout.id)
        say(f"{bout.title} is a fight of its own.")


def _day(text: str | None) -> str | None:
    try:
        return text and Date.fromisoformat(text).isoformat()
    except ValueError:
        raise MatlineError(f"“{text}” is no date; write it as 2026-03-01.") from None
