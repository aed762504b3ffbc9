"""`matline learn`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.options import LibraryOption
from pipeline.cli.saying import say
from pipeline.errors import MatlineError
from pipeline.text import counted

if TYPE_CHECKING:
    from pipeline.learning import Outcome, Versions

LITTLE_S = 600.0
"""Seconds of bouts kept apart below which the figures are said to be shaky: ten minutes are some
hundred segments, of which one is then a percent."""
MOST_SUSPECTS = 10
"""Lines of suspects on the terminal; the file has all."""


def register(app: typer.Typer) -> None:
    """Add this module's command."""
    app.command("learn")(learn_command)


def learn_command(
    back: Annotated[
        bool, typer.Option("--back", help="Use the version before this one again.")
    ] = False,
    versions: Annotated[
        bool, typer.Option("--versions", help="List the versions, and learn nothing.")
    ] = False,
    keep_apart: Annotated[
        list[str] | None,
        typer.Option(
            metavar="BOUT", help="Judge by it (id or title) and never learn from it; repeatable."
        ),
    ] = None,
    suspects: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write what is worth a second look as CSV.")
    ] = None,
    library: LibraryOption = None,
) -> None:
    """Learn from what you accepted and corrected; kept only if it tells bouts no worse."""
    from pipeline.learning import Versions, learn
    from pipeline.library import Library, find_bout, written_whole
    from pipeline.library.atomic import check_target

    if back and versions:
        raise MatlineError("Ask for --back or for --versions, not for both.")
    if suspects:
        check_target(suspects)
    shelf = Library(library)
    known = Versions(shelf)
    if back:
        say(f"In use now: {_name(known.back())}.")
    elif versions:
        _list(known)
    else:
        apart = [find_bout(shelf, bout).id for bout in keep_apart or ()]
        outcome = learn(shelf, keep_apart=apart, say=lambda t: say(t, err=True))
        _show(outcome)
        if suspects:
            with written_whole(suspects) as part:
                outcome.suspects.map(_guarded).to_csv(part, index=False, lineterminator="\r\n")
            say(suspects)


def _guarded(value: object) -> object:
    from pipeline.outputs.text import guarded

    return guarded(value) if isinstance(value, str) else value


def _show(outcome: Outcome) -> None:
    say(f"Judged by {', '.join(outcome.apart)} ({outcome.before.seconds:.0f} s):")
    say(f"{'':12}{'macro-F1':>10}{'edit':>8}{'time right':>12}")
    for name, figures in (("in use", outcome.before), ("learnt", outcome.after)):
        shown = f"{figures.macro_f1:>10.3f}{figures.edit:>8.1f}{figures.accuracy:>12.1%}"
        say(f"{name:12}{shown}")
    if outcome.before.seconds < LITTLE_S:
        say(
            "That is little to judge by, and a small difference may be chance: correct more "
            "bouts, and learn again."
        )
    if outcome.version:
        say(f"Now in use: {_name(outcome.version.number)}. `matline learn --back` undoes it.")
        say("`matline read` with the same files reads with it what nobody has corrected.")
    elif outcome.trial.passes == 0:
        say("Nothing changed: on bouts not learnt from, learning made nothing better.")
    else:
        say("Nothing changed: the learnt model is worse on the bouts kept apart.")
    if len(outcome.suspects):
        say("")
        say("Worth a second look; about half of such hints are right:")
        for row in outcome.suspects.head(MOST_SUSPECTS).itertuples():
            say(
                f"  {row.title}, {row.start_s:.1f}–{row.end_s:.1f} s: {row.said}, "
                f"perhaps {row.rather} ({row.share:.0%} of it)"
            )


def _list(versions: Versions) -> None:
    current = versions.current
    say(f"{'*' if current == 0 else ' '} {_name(0)}")
    for v in versions.all():
        mark = "*" if v.number == current else " "
        say(
            f"{mark} {_name(v.number)}, {v.made_at[:10]}, {counted(len(v.bouts), 'bout')}, "
            f"macro-F1 {v.before.macro_f1:.3f} → {v.after.macro_f1:.3f}, "
            f"edit {v.before.edit:.1f} → {v.after.edit:.1f}"
        )


def _name(number: int) -> str:
    return "the model that comes with Matline" if number == 0 else f"version {number}"
