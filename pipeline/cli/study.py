"""`matline report` and `matline clips`."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.options import LibraryOption
from pipeline.cli.progress import Progress
from pipeline.cli.saying import say

if TYPE_CHECKING:
    from pipeline.library import Library
    from pipeline.outputs.clips import Clip, Look
    from pipeline.outputs.study import StudyBout
    from pipeline.settings import ClipsSettings

BoutsArgument = Annotated[
    list[str] | None,
    typer.Argument(metavar="[BOUT]...", help="Ids or titles, as `matline bouts` lists; else all."),
]
AthleteOption = Annotated[str, typer.Option(metavar="NAME", help="See the bouts as this athlete.")]
OpponentOption = Annotated[str, typer.Option(metavar="NAME", help="Bouts against this one.")]
EventOption = Annotated[str, typer.Option(metavar="NAME", help="Bouts of this event.")]
RulesetOption = Annotated[str, typer.Option(metavar="NAME", help="Bouts under these rules.")]
SinceOption = Annotated[str, typer.Option(metavar="DATE", help="From this day on: 2026-03-01.")]
UntilOption = Annotated[str, typer.Option(metavar="DATE", help="Up to this day.")]
ProposalsOption = Annotated[
    bool,
    typer.Option("--proposals", help="Count also what nobody has accepted or corrected yet."),
]


def register(app: typer.Typer) -> None:
    """Add this module's commands."""
    app.command("report")(report_command)
    app.command("clips")(clips_command)


def report_command(
    bouts: BoutsArgument = None,
    athlete: AthleteOption = "",
    opponent: OpponentOption = "",
    event: EventOption = "",
    ruleset: RulesetOption = "",
    since: SinceOption = "",
    until: UntilOption = "",
    proposals: ProposalsOption = False,
    to: Annotated[
        Path, typer.Option("--to", metavar="FILE", help="A page (.html), or printed (.pdf).")
    ] = Path("report.html"),
    tables: Annotated[
        Path | None, typer.Option("--tables", metavar="FOLDER", help="The same numbers as CSV.")
    ] = None,
    title: Annotated[str, typer.Option(help="By default, the athletes' names.")] = "",
    library: LibraryOption = None,
) -> None:
    """Write a report of one bout or many: one HTML file that also prints, or a PDF."""
    from pipeline.library import Library
    from pipeline.library.atomic import check_folder
    from pipeline.outputs.study import Study, write_report

    if tables:
        check_folder(tables)
    chosen = _select(
        Library(library), bouts, athlete, opponent, event, ruleset, since, until, proposals
    )
    study = Study.of(chosen)
    say(write_report(study, to, title))
    for path in study.write_csv(tables) if tables else []:
        say(path)


def clips_command(
    bouts: BoutsArgument = None,
    kind: Annotated[
        list[str] | None,
        typer.Option("--kind", help="sweep, guard_pass, sweep_attempt …; may be repeated."),
    ] = None,
    position: Annotated[
        list[str] | None, typer.Option("--position", help="mount …; may be repeated.")
    ] = None,
    note: Annotated[str, typer.Option(metavar="TEXT", help="Only where a note has this.")] = "",
    by: Annotated[str, typer.Option(help="own or opponent: who did it.")] = "",
    side: Annotated[str, typer.Option(help="top or bottom, for positions.")] = "",
    athlete: AthleteOption = "",
    opponent: OpponentOption = "",
    event: EventOption = "",
    ruleset: RulesetOption = "",
    since: SinceOption = "",
    until: UntilOption = "",
    proposals: ProposalsOption = False,
    to: Annotated[
        Path,
        typer.Option("--to", metavar="FILE|FOLDER", help="name.mp4 for one reel, else a folder."),
    ] = Path("reel.mp4"),
    lead_in: Annotated[
        float | None, typer.Option(min=0, metavar="S", help="Seconds before.", show_default="4")
    ] = None,
    lead_out: Annotated[
        float | None, typer.Option(min=0, metavar="S", help="Seconds after.", show_default="2")
    ] = None,
    speed: Annotated[float, typer.Option(help="Of the moment itself; 0.5 is half as fast.")] = 1.0,
    freeze: Annotated[
        float, typer.Option(metavar="S", help="Stand still at the peak, in seconds.")
    ] = 0.0,
    skeletons: Annotated[bool, typer.Option("--skeletons", help="Draw both skeletons.")] = False,
    trace: Annotated[bool, typer.Option("--trace", help="Show hip heights below.")] = False,
    caption: Annotated[bool, typer.Option("--caption/--no-caption")] = True,
    blur_faces: Annotated[
        bool, typer.Option("--blur-faces", help="Hide both athletes' heads.")
    ] = False,
    blur_others: Annotated[
        bool, typer.Option("--blur-others", help="Hide all that is away from the pair.")
    ] = False,
    library: LibraryOption = None,
) -> None:
    """Cut clips for teaching: moments and positions, one reel or many files."""
    from pipeline.library import Library
    from pipeline.outputs.clips import Look, Wanted, choose_clips
    from pipeline.settings import ClipsSettings

    usual = ClipsSettings()
    settings = ClipsSettings(
        lead_in_s=usual.lead_in_s if lead_in is None else lead_in,
        lead_out_s=usual.lead_out_s if lead_out is None else lead_out,
        speed=speed,
        freeze_s=freeze,
    )
    wanted = Wanted(tuple(kind or ()), tuple(position or ()), note, by, side)
    look = Look(caption, skeletons, trace, blur_faces, blur_others)
    shelf = Library(library)
    chosen = _select(shelf, bouts, athlete, opponent, event, ruleset, since, until, proposals)
    clips = choose_clips(chosen, wanted, settings)
    _write(shelf, clips, to, look, settings)
    if not (blur_faces and blur_others):
        say("Share clips only with the consent of everyone in them.", err=True)


def _write(
    library: Library, clips: list[Clip], to: Path, look: Look, settings: ClipsSettings
) -> None:
    from pipeline.outputs.clips import write_files, write_reel

    many = to.suffix.lower() != ".mp4"
    write: Callable[..., Path | list[Path]] = write_files if many else write_reel
    with Progress("Cutting clips") as progress:
        written = write(library, clips, to, look, settings, progress)
    for path in written if isinstance(written, list) else [written]:
        say(path)


def _select(
    library: Library,
    bouts: list[str] | None,
    athlete: str,
    opponent: str,
    event: str,
    ruleset: str,
    since: str,
    until: str,
    proposals: bool,
) -> list[StudyBout]:
    from pipeline.outputs.study import VOUCHED, Selection, select
    from pipeline.timeline import State

    states = frozenset(State) if proposals else VOUCHED
    return select(
        library,
        Selection(tuple(bouts or ()), athlete, opponent, event, ruleset, since, until, states),
    )
