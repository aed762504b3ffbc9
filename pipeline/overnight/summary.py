"""What the morning should know: what was read, what failed, where a look pays most."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from pipeline.overnight.cautions import cautions, missing_s
from pipeline.overnight.clock import length
from pipeline.overnight.reading import Reading
from pipeline.overnight.spots import ELEVATIONS, SCORING, UNSURE, Spot, Why, spots
from pipeline.text import counted, printable
from pipeline.timeline import ATTEMPT_SUFFIX, Timeline

Became = Literal["read", "known", "failed", "unfinished"]

_GROUPS: tuple[tuple[Why, str], ...] = (
    ("elevation", "elevations"),
    ("scoring", "scoring moments"),
    ("unsure", "look first at"),
)


@dataclass(frozen=True)
class FileOutcome:
    """What became of one file.

    Attributes
    ----------
    path : Path
    became : {"read", "known", "failed", "unfinished"}
        Known: read before, or corrected by hand; left as it is. Unfinished: the time was up.
    why : str
        One sentence on a failure.
    bouts : tuple of str
        Ids in the library.
    duration_s : float
        Seconds of footage read.
    moments : dict of str to int
        How many of each kind are proposed.
    unsure_s : float
        Seconds in which the reader is not sure: what to look at first.
    gaps_s : float
        Seconds without good pictures.
    spots : tuple of Spot
        What to open of it: elevations and scoring moments first, then where a look pays most.
    cautions : tuple of str
        What seems wrong with the footage itself, in a few words each.
    """

    path: Path
    became: Became
    why: str = ""
    bouts: tuple[str, ...] = ()
    duration_s: float = 0.0
    moments: dict[str, int] = field(default_factory=dict)
    unsure_s: float = 0.0
    gaps_s: float = 0.0
    spots: tuple[Spot, ...] = ()
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True)
class Summary:
    """What became of a night's files, in the order asked for."""

    files: tuple[FileOutcome, ...]

    def of(self, became: Became) -> list[FileOutcome]:
        """Return the files of which this became."""
        return [file for file in self.files if file.became == became]

    def by_worth(self) -> list[FileOutcome]:
        """Return all files: odd ones first, then where a look pays most; those that failed last."""
        read = sorted(self.of("read"), key=lambda f: (not f.cautions, -f.unsure_s))
        return [*read, *self.of("known"), *self.of("unfinished"), *self.of("failed")]

    def lines(self) -> list[str]:
        """Return the summary as text; where a look pays most comes first.

        A line for each file, those below it that begin with spaces say what to open of it.
        """
        return [line for file in self.by_worth() for line in _lines(file)] + [self.total()]

    def total(self) -> str:
        """Return how many files became what, in one sentence."""
        parts = [
            f"{count} {word}"
            for became, word in (
                ("read", "read"),
                ("known", "left as they were"),
                ("unfinished", "not finished"),
                ("failed", "failed"),
            )
            if (count := len(self.of(became)))  # type: ignore[arg-type]
        ]
        return f"{counted(len(self.files), 'file')}: {', '.join(parts)}."


def read_outcome(path: Path, bout_ids: list[str], readings: list[Reading]) -> FileOutcome:
    """Return what became of a file that was read, bout by bout."""
    proposals = [reading.proposal for reading in readings]
    return FileOutcome(
        path,
        "read",
        bouts=tuple(bout_ids),
        duration_s=sum(float(r.times[-1] - r.times[0]) for r in readings if len(r.times)),
        moments=dict(Counter(m.kind for proposal in proposals for m in proposal.moments)),
        unsure_s=sum(map(unsure_s, proposals)),
        gaps_s=sum(map(missing_s, readings)),
        spots=tuple(
            spot
            for bout, proposal in zip(bout_ids, proposals, strict=True)
            for spot in spots(bout, proposal)
        ),
        cautions=tuple(dict.fromkeys(said for one in readings for said in cautions(one))),
    )


def unsure_s(timeline: Timeline) -> float:
    """Return the seconds whose segments the reader is not sure of."""
    return sum(s.duration_s for s in timeline.segments if s.confidence < UNSURE)


def facts(file: FileOutcome) -> str:
    """Return what there is to say of a file, without its name."""
    if file.became == "read":
        return f"{', '.join(_found(file))}.{''.join(f' {c}' for c in file.cautions)}"
    if file.became == "known":
        return "read or corrected before, left as it is."
    if file.became == "unfinished":
        return "not finished, the time was up."
    return f"NOT READ. {file.why}"


def _lines(file: FileOutcome) -> list[str]:
    bouts = f" ({', '.join(file.bouts)})" if file.became == "read" else ""
    lines = [f"{printable(file.path.name)}{bouts}: {facts(file)}"]
    for bout in file.bouts:
        which = f"{bout}, " if len(file.bouts) > 1 else ""
        for why, name in _GROUPS:
            found = [str(s) for s in file.spots if s.bout == bout and s.why == why]
            if found:
                lines.append(f"    {which}{name}: {', '.join(found)}")
    return lines


def _found(file: FileOutcome) -> list[str]:
    parts = [length(file.duration_s)]
    elevations = sum(file.moments.get(kind, 0) for kind in ELEVATIONS)
    scoring = sum(file.moments.get(kind, 0) for kind in SCORING)
    attempts = sum(n for kind, n in file.moments.items() if kind.endswith(ATTEMPT_SUFFIX))
    for count, what in (
        (elevations, "elevation"),
        (scoring, "scoring moment"),
        (attempts, "attempt"),
    ):
        if count:
            parts.append(counted(count, what))
    if file.unsure_s:
        parts.append(f"{file.unsure_s:.0f} s to look at first")
    if file.gaps_s:
        parts.append(f"{file.gaps_s:.1f} s without good pictures")
    return parts
