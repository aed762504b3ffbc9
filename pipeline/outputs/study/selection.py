"""Which bouts a study looks at, and from whose side."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date

from pipeline.errors import MatlineError
from pipeline.library import Bout, Library, find_bout
from pipeline.moments import usual_or
from pipeline.outputs.study.counted import counted_moments
from pipeline.timeline import ATHLETES, Athlete, State, Timeline, other
from pipeline.words import plain_key

VOUCHED: frozenset[State] = frozenset({State.ACCEPTED, State.CORRECTED})
"""What a human has stood up for."""


@dataclass(frozen=True)
class Selection:
    """What to study. Empty fields ask for nothing.

    Attributes
    ----------
    bouts : tuple of str
        Ids or titles of bouts.
    athlete, opponent, event, ruleset : str
        Whole names, upper or lower case alike.
    since, until : str
        First and last day, ISO 8601 (``2026-03-01``).
    states : frozenset of State
        What counts; by default only what a human accepted or corrected.
    """

    bouts: tuple[str, ...] = ()
    athlete: str = ""
    opponent: str = ""
    event: str = ""
    ruleset: str = ""
    since: str = ""
    until: str = ""
    states: frozenset[State] = VOUCHED

    def __post_init__(self) -> None:
        for name in ("since", "until"):
            if (day := getattr(self, name)) and not _is_date(day):
                raise MatlineError(f"“{day}” is no date; write {name} as 2026-03-01.")


@dataclass(frozen=True)
class StudyBout:
    """One bout as a study sees it: what counts of its timeline, seen by one athlete.

    Attributes
    ----------
    bout : Bout
    own : {"A", "B"}
        Whose study this is.
    timeline : Timeline
        Only segments in the states asked for, and the moments that count.
    left_out_s : float
        Seconds of segments left out because of their state.
    left_out_moments : int
    followed_moments : int
        Moments that count because of the positions around them, though nobody spoke of them.
    """

    bout: Bout
    own: Athlete
    timeline: Timeline
    left_out_s: float = 0.0
    left_out_moments: int = 0
    followed_moments: int = 0

    @classmethod
    def of(
        cls,
        bout: Bout,
        own: Athlete,
        timeline: Timeline,
        states: frozenset[State] = VOUCHED,
        proposal: Timeline | None = None,
    ) -> StudyBout:
        """Return the bout with only what counts of its timeline; see `counted_moments`."""
        everything = counted_moments(timeline, frozenset(State), proposal)
        counted = counted_moments(timeline, states, proposal)
        kept = timeline.with_segments(s for s in timeline.segments if s.state in states)
        return cls(
            bout,
            own,
            kept.with_moments(counted),
            sum(s.duration_s for s in timeline.segments if s.state not in states),
            len(everything) - len(counted),
            sum(m.state not in states for m in counted),
        )

    @property
    def names(self) -> tuple[str, str]:
        """Names of the own athlete and of the opponent, with letters where none is given."""
        return self.name_of(self.own), self.name_of(other(self.own))

    def name_of(self, athlete: Athlete) -> str:
        """Return an athlete's name, or the letter where none is given."""
        return self.bout.names.get(athlete) or f"athlete {athlete}"

    @property
    def studied_s(self) -> float:
        """Seconds of the segments that count."""
        return sum(s.duration_s for s in self.timeline.segments)


def select(library: Library, selection: Selection | None = None) -> list[StudyBout]:
    """Return the bouts that fit, by date.

    A fight seen by several cameras counts once: the bout a human has seen most of stands for it.

    A bout is seen by the athlete asked for; else by the one who is not the opponent asked for;
    else by the one the library calls ours; else by A.

    Raises
    ------
    MatlineError
        If none fits, or none of those that fit was read; says what there is.
    """
    selection = selection or Selection()
    bouts = [find_bout(library, b) for b in selection.bouts] or library.bouts()
    if not bouts:
        raise MatlineError("The library is empty; start with `matline read VIDEO`.")
    for field, value in _FIELDS.items():
        bouts = _narrowed(bouts, field, getattr(selection, field), value)
    bouts = [b for b in bouts if _in_time(b, selection)]
    if not bouts:
        raise MatlineError("No bout fits all that was asked for; ask for less.")
    read = [b for b in bouts if b.reader or any(b.counts.values())]
    if not read:
        raise MatlineError(f"{bouts[0].title} has not been read yet; run matline read on it.")
    read = _once_a_fight(library, read)
    chosen = [
        StudyBout.of(
            b,
            _own(b, selection),
            library.timeline(b.id),
            selection.states,
            library.proposal(b.id),
        )
        for b in read
    ]
    return sorted(chosen, key=lambda s: s.bout.date)


_FIELDS: dict[str, Callable[[Bout], Iterable[str]]] = {
    "athlete": lambda bout: bout.names.values(),
    "opponent": lambda bout: bout.names.values(),
    "event": lambda bout: [bout.event],
    "ruleset": lambda bout: [bout.ruleset, usual_or(bout.ruleset).name] if bout.ruleset else [],
}


def _once_a_fight(library: Library, bouts: list[Bout]) -> list[Bout]:
    """Keep one bout of each fight: the most corrected, of equals the first."""
    by_work = sorted(bouts, key=_looked_at, reverse=True)
    left_out: set[str] = set()
    for bout in by_work:
        if bout.id not in left_out:
            left_out |= library.cameras(bout.id).keys()
    return [bout for bout in bouts if bout.id not in left_out]


def _looked_at(bout: Bout) -> int:
    return sum(bout.counts.get(state.value, 0) for state in VOUCHED)


def _narrowed(
    bouts: list[Bout], field: str, wanted: str, value: Callable[[Bout], Iterable[str]]
) -> list[Bout]:
    if not wanted:
        return bouts
    found = [b for b in bouts if any(_same(v, wanted) for v in value(b))]
    if not found:
        known = sorted({v for b in bouts for v in value(b) if v})
        there = f"there are {', '.join(known[:20])}" if known else "none is given in any bout"
        raise MatlineError(f"No bout has the {field} “{wanted}”; {there}.")
    return found


def _in_time(bout: Bout, selection: Selection) -> bool:
    # An undated bout is in no stretch of time that was asked for.
    if not (selection.since or selection.until):
        return True
    day = bout.date[:10]
    return bool(day) and selection.since <= day and (not selection.until or day <= selection.until)


def _own(bout: Bout, selection: Selection) -> Athlete:
    for athlete in ATHLETES:
        if selection.athlete and _same(bout.names.get(athlete, ""), selection.athlete):
            return athlete
    for athlete in ATHLETES:
        if selection.opponent and _same(bout.names.get(athlete, ""), selection.opponent):
            return other(athlete)
    return bout.we or "A"


def _same(one: str, two: str) -> bool:
    return plain_key(one) == plain_key(two)


def _is_date(text: str) -> bool:
    try:
        date.fromisoformat(text)
    except ValueError:
        return False
    return True
