"""``positions families`` and ``positions coverage``."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Annotated

import typer

from models.training.positions.train import Recipe
from pipeline.errors import MatlineError

app = typer.Typer()


@app.command("families")
def families_command(
    cast: Annotated[Path, typer.Option(help="Cast that --pairs, --more and --stills index.")],
    pairs: Annotated[Path, typer.Option(help="Solved pairs of the written templates.")],
    test_cast: Annotated[Path, typer.Option(help="Other people, to judge by.")],
    test_pairs: Annotated[Path, typer.Option(help="Pairs of the written templates, of theirs.")],
    out: Annotated[Path, typer.Option(help="Folder for everything made; one for all conditions.")],
    name: Annotated[str, typer.Option(help="Of this condition, in the table.")] = "written",
    more: Annotated[
        list[Path] | None, typer.Option(help="Other pairs to make bouts of; repeatable.")
    ] = None,
    still_pairs: Annotated[
        list[Path] | None,
        typer.Option(help="Pairs to learn from as stills, besides; repeatable."),
    ] = None,
    extra_bouts: Annotated[
        list[Path] | None, typer.Option(help="Folder of bouts made elsewhere; repeatable.")
    ] = None,
    lifts: Annotated[
        Path | None,
        typer.Option(help="Folder of fold-0.onnx …: lifts that learned without each fold."),
    ] = None,
    stills: Annotated[
        bool, typer.Option("--stills", help="No bouts: learn from and judge on stills only.")
    ] = False,
    named_by: Annotated[
        str, typer.Option(help="What a still is called by: template or judge.")
    ] = "template",
    bouts_per_fold: Annotated[int, typer.Option(min=0)] = 100,
    test_bouts: Annotated[int, typer.Option(min=0, help="In each fold.")] = 20,
    test_stills: Annotated[int, typer.Option(min=1, help="Of each template.")] = 4,
    seconds: Annotated[float, typer.Option(help="Length of a bout.")] = 60.0,
    views: Annotated[int, typer.Option(min=1, help="Cameras a bout.")] = Recipe.views,
    still_views: Annotated[int, typer.Option(min=1, help="Cameras a still.")] = 1,
    kind: Annotated[str, typer.Option(help="network or boosting.")] = "network",
    epochs: int = Recipe.epochs,
    seed: int = 0,
    workers: Annotated[int | None, typer.Option(help="Processes; a core each by default.")] = None,
    device: Annotated[str, typer.Option(help="That networks are fitted on: cpu or cuda.")] = "cpu",
    limit: Annotated[float, typer.Option(help="Seconds after which no more bouts are made.")] = 0.0,
) -> None:
    """Leave families out, five times: learn from the others, judge on them."""
    from models.training.positions.families.making import Source
    from models.training.positions.families.run import Condition, report, run

    if kind not in ("network", "boosting"):
        raise MatlineError(f"--kind {kind} is neither network nor boosting.")
    if named_by not in ("template", "judge"):
        raise MatlineError(f"--named-by {named_by} is neither template nor judge.")
    others = tuple(more or ())
    run(
        Condition(
            name=name,
            learned=Source(cast, (pairs, *others)),
            unseen=Source(test_cast, (test_pairs,)),
            out=out,
            still_pairs=(pairs, *others, *(still_pairs or ()))
            if stills
            else tuple(still_pairs or ()),
            named_by=named_by,
            extra_bouts=tuple(extra_bouts or ()),
            lifts=lifts,
            bouts=0 if stills else bouts_per_fold,
            test_bouts=0 if stills else test_bouts,
            seconds=seconds,
            views=views,
            still_views=still_views,
            test_stills=test_stills,
            kind=kind,
            epochs=epochs,
            seed=seed,
            workers=workers or len(os.sched_getaffinity(0)),
            device=device,
            limit_s=limit,
        ),
        lambda text: typer.echo(text, err=True),
    )
    typer.echo(report(out))


@app.command("coverage")
def coverage_command(
    cast: Annotated[Path, typer.Option(help="Cast that --pairs and --more index.")],
    pairs: Annotated[Path, typer.Option(help="Solved pairs of the written templates.")],
    test_cast: Annotated[Path, typer.Option(help="Other people.")],
    test_pairs: Annotated[Path, typer.Option(help="Pairs of the written templates, of theirs.")],
    more: Annotated[
        list[Path] | None, typer.Option(help="Other pairs, added one after the other.")
    ] = None,
    each: Annotated[int, typer.Option(min=1, help="Pairs judged of a template.")] = 8,
    out: Annotated[Path | None, typer.Option(help="CSV of every pair's distances.")] = None,
) -> None:
    """Print how far families left out are from the nearest pose learned from, in centimetres."""
    from models.training.positions.families.coverage import coverage, summary
    from models.training.scenes.body import load_cast
    from models.training.scenes.pairs_file import load_pairs
    from pipeline.library import written_whole

    learned = [(path.stem, load_pairs(path)) for path in (pairs, *(more or ()))]
    judged = load_pairs(test_pairs), load_cast(test_cast)
    table = coverage(judged, learned, load_cast(cast), each)
    if out is not None:
        with written_whole(out) as part:
            table.round(4).to_csv(part, index=False)
    typer.echo("Centimetres a joint to the nearest pose: median (90th percentile).\n")
    typer.echo(summary(table))
