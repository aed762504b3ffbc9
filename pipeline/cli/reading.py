"""`matline read`, `matline label` and `matline demo`."""

from __future__ import annotations

import os
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.options import BackendOption, LibraryOption, RateOption, backend_or_default
from pipeline.cli.progress import Progress
from pipeline.cli.saying import say
from pipeline.command import command
from pipeline.errors import MatlineError
from pipeline.text import counted

if TYPE_CHECKING:
    from pipeline.library import Library
    from pipeline.overnight import Plan, Summary
    from pipeline.settings import Corners, Settings

WorkersOption = Annotated[
    int | None,
    typer.Option("--workers", min=1, help="Programs side by side.", show_default="one a core"),
]


def register(app: typer.Typer) -> None:
    """Add this module's commands."""
    app.command("read")(read_command)
    app.command("label")(label_command)
    app.command("demo")(demo_command)


def read_command(
    footage: Annotated[
        list[str], typer.Argument(metavar="FOOTAGE...", help="Files, folders, patterns.")
    ],
    backend: BackendOption = None,
    rate: RateOption = None,
    again: Annotated[
        bool, typer.Option("--again", help="Read also what was read or corrected before.")
    ] = False,
    whole: Annotated[
        bool, typer.Option("--whole", help="Keep each file one bout, however many it holds.")
    ] = False,
    until: Annotated[
        str | None, typer.Option("--until", metavar="HH:MM", help="Begin nothing new after this.")
    ] = None,
    engine: Annotated[
        str, typer.Option("--engine", help="local, or dask://HOST:PORT for a cluster.")
    ] = "local",
    workers: WorkersOption = None,
    plan_only: Annotated[
        bool, typer.Option("--plan", help="Say what would be done, and do nothing.")
    ] = False,
    mat: Annotated[
        str | None,
        typer.Option(
            "--mat",
            metavar="X0,Y0,X1,Y1",
            help="The mat that counts, in pixels, or x,y of each corner; a bout: as there; none.",
            show_default="as chosen before",
        ),
    ] = None,
    copies: Annotated[
        bool,
        typer.Option(
            "--copies/--no-copies", help="At the end, copy what browsers can't play for the page."
        ),
    ] = True,
    wait: Annotated[
        bool, typer.Option("--wait", help="Wait for another run on the library to end.")
    ] = False,
    library: LibraryOption = None,
) -> None:
    """Read footage into the library. Stop it whenever you like: it goes on where it stopped."""
    from pipeline.library import Library
    from pipeline.overnight import Order, make_plan, open_engine, run_night
    from pipeline.overnight.clock import next_time

    count = workers or os.cpu_count() or 1
    end = next_time(until) if until else None
    shelf = Library(library)
    shelf.check_writable()
    order = Order(
        shelf,
        _settings(rate, shelf),
        backend_or_default(backend),
        again,
        whole,
        end,
        None if mat is None else _mat(mat, shelf),
        copies,
    )
    attempts = order.settings.overnight.attempts
    with (
        closing(open_engine(engine, count, attempts)) as machine,
        Progress("Looking at files") as progress,
    ):
        plan = make_plan(order, footage, machine)
        _show_plan(plan, count)
        if plan_only:
            _show_left_out(plan)
            return
        summary = run_night(order, plan, machine, progress, wait)
    _show_summary(summary)


def label_command(
    keypoints: Annotated[Path, typer.Argument(help="COCO keypoint JSON of any pose model.")],
    rate: Annotated[
        float | None, typer.Option("--rate", metavar="HZ", help="Pictures a second.")
    ] = None,
    times: Annotated[
        Path | None, typer.Option("--times", help="A text file, one time in seconds a picture.")
    ] = None,
    to: Annotated[Path, typer.Option("--to", metavar="FOLDER")] = Path("."),
    formats: Annotated[
        list[str] | None, typer.Option("--format", help="csv, vtt, json; may be repeated.")
    ] = None,
) -> None:
    """Turn skeletons from anyone's pose model into a timeline."""
    from pipeline.outputs import write_timeline
    from pipeline.outputs.coco import read_coco
    from pipeline.overnight.label import label_bodies, picture_times

    pictures = read_coco(keypoints)
    at = picture_times([picture.time_s for picture in pictures], rate, times)
    reading = label_bodies(at, [picture.bodies for picture in pictures])
    stem = keypoints.stem
    for path in write_timeline(reading.proposal, stem, to, formats or ["csv", "vtt", "json"]):
        say(path)


def demo_command(library: LibraryOption = None) -> None:
    """Read a sample bout from end to end, and say where the result is."""
    from platformdirs import user_data_path

    from pipeline.library import Library
    from pipeline.outputs import export_bout
    from pipeline.overnight import LocalProcesses, Order, make_plan, run_night
    from pipeline.overnight.samples import sample_clip

    clip = sample_clip()
    root = library or user_data_path("matline") / "demo"
    shelf = Library(root)
    order = Order(shelf, _settings(None), backend_or_default(None))
    with closing(LocalProcesses(os.cpu_count() or 1)) as machine, Progress("Reading") as progress:
        summary = run_night(order, make_plan(order, [clip], machine), machine, progress)
    _show_summary(summary)
    bout = summary.files[0].bouts[0]
    say("")
    say("Its timeline, as files:")
    for path in export_bout(shelf, bout, root / "exports", ["csv", "vtt", "json"]):
        say(f"  {path}")
    page = command("review", bout, "--library", root.absolute())
    say("")
    say("See and correct it on the page:")
    say(f"  {page}")


def _settings(rate: float | None, library: Library | None = None) -> Settings:
    from dataclasses import replace

    from pipeline.learning import Versions
    from pipeline.settings import Settings

    settings = Settings()
    learnt = Versions(library).path() if library else None
    if learnt is not None:
        settings = replace(settings, positions=replace(settings.positions, model=str(learnt)))
    if rate is None:
        return settings
    if not 0 < rate <= 60:
        raise MatlineError(f"A rate of {rate} samples a second can't be read; use 3 to 10.")
    return replace(settings, footage=replace(settings.footage, rate_hz=rate))


def _mat(text: str, library: Library) -> Corners:
    from pipeline.bodies import Mat
    from pipeline.library import find_bout

    if text.strip().lower() == "none":
        return ()
    if any(bout.id == text or bout.title.casefold() == text.casefold() for bout in library.bouts()):
        bout = find_bout(library, text)
        if not (corners := library.mat(bout.content_key)):
            raise MatlineError(f"No mat was chosen for {bout.title}; draw one on its page.")
        return corners
    return Mat.parse(text).corners


def _show_plan(plan: Plan, workers: int) -> None:
    from pipeline.overnight.clock import length

    count = sum(not file.problem for file in plan.files)
    files = counted(count, "file")
    left = f", {length(plan.left_s)} still to read" if plan.left_s < plan.duration_s else ""
    say(
        f"{files}, {length(plan.duration_s)} of footage{left}: about "
        f"{length(plan.expected_s(workers))} of work, {plan.disk_bytes / 1e6:.0f} MB on disk."
    )


def _show_left_out(plan: Plan) -> None:
    left_out = [file for file in plan.files if file.problem]
    for file in left_out:
        say(f"NOT READ. {file.problem}")
    if left_out:
        raise typer.Exit(1)


def _show_summary(summary: Summary) -> None:
    failed = summary.of("failed")
    if len(summary.files) == 1 and failed:
        raise MatlineError(failed[0].why)
    for line in summary.lines():
        say(line)
    if failed:
        raise typer.Exit(1)
