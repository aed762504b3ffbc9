"""What to show: moments and positions of bouts → clips."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from pipeline.errors import MatlineError
from pipeline.library import Bout
from pipeline.outputs.study import StudyBout
from pipeline.outputs.study.attempts import by as by_whom
from pipeline.outputs.study.spells import side_of
from pipeline.settings import ClipsSettings
from pipeline.text import counted
from pipeline.timeline import (
    ATTEMPT_SUFFIX,
    BY_KEY,
    MOMENT_KINDS,
    Moment,
    Segment,
    clock,
    coarse,
    position,
)
from pipeline.words import nearest, plain_key


@dataclass(frozen=True)
class Wanted:
    """What to look for. Without kinds and positions: every moment.

    Attributes
    ----------
    kinds : tuple of str
        Kinds of moments; ``"sweep"`` is one that was held, ``"sweep_attempt"`` one that wasn't.
    positions : tuple of str
        Positions, or finer labels (``"half_guard/knee shield"``).
    note : str
        Words that must be in the note.
    by : str
        "own" or "opponent": who did it; "" for both.
    side : str
        "top" or "bottom": where the own athlete is in a position; "" for both.
    """

    kinds: tuple[str, ...] = ()
    positions: tuple[str, ...] = ()
    note: str = ""
    by: str = ""
    side: str = ""

    def __post_init__(self) -> None:
        fine = [position_key(given) for given in self.positions]
        object.__setattr__(self, "positions", tuple(fine))
        object.__setattr__(self, "kinds", tuple(map(plain_key, self.kinds)))
        known = [k + suffix for k in MOMENT_KINDS for suffix in ("", ATTEMPT_SUFFIX)]
        _check("kind of moment", self.kinds, known)
        _check("position", map(coarse, self.positions), list(BY_KEY))
        _check("side", filter(None, [self.side]), ["top", "bottom"])
        _check("doer", filter(None, [self.by]), ["own", "opponent"])


@dataclass(frozen=True)
class Clip:
    """A stretch of one bout to show.

    Attributes
    ----------
    bout : Bout
    start_s, end_s : float
        Half-open, seconds of the footage, lead-in and lead-out included.
    what, when : str
        What is seen, in words, and the bout's clock.
    core : (float, float) or None
        Start and end of the moment itself, which slow motion is for.
    peak_s : float or None
        Where to stand still.
    """

    bout: Bout
    start_s: float
    end_s: float
    what: str
    when: str
    core: tuple[float, float] | None = None
    peak_s: float | None = None

    @property
    def caption(self) -> str:
        """One line: bout, clock, what."""
        return " · ".join(filter(None, (self.bout.title, self.when, self.what)))


def choose_clips(
    bouts: Iterable[StudyBout], wanted: Wanted, settings: ClipsSettings | None = None
) -> list[Clip]:
    """Return a clip for everything wanted, in order of bouts and time.

    Raises
    ------
    MatlineError
        If there is nothing to show.
    """
    settings = settings or ClipsSettings()
    bouts = list(bouts)
    found = [clip for one in bouts for clip in _of_bout(one, wanted, settings)]
    if not found:
        raise MatlineError(
            f"Nothing of what was asked for is in the {counted(len(bouts), 'bout')} "
            "looked at; ask for other "
            "kinds or positions, or for proposals too."
        )
    return found


def position_key(label: str) -> str:
    """Return a position as files have it: ``"half guard/knee shield"`` → ``"half_guard/…"``."""
    first, slash, finer = label.partition("/")
    return f"{plain_key(first)}{slash}{finer}"


def _of_bout(one: StudyBout, wanted: Wanted, settings: ClipsSettings) -> list[Clip]:
    moments = wanted.kinds or not wanted.positions
    clips = [
        _moment_clip(one, m, settings)
        for m in one.timeline.moments
        if moments and _fits_moment(one, m, wanted)
    ]
    segments = wanted.positions or (wanted.note and not wanted.kinds)
    clips += [
        _segment_clip(one, s, settings)
        for s in one.timeline.segments
        if segments and _fits_segment(one, s, wanted)
    ]
    return sorted(clips, key=lambda clip: clip.start_s)


def _fits_moment(one: StudyBout, moment: Moment, wanted: Wanted) -> bool:
    return (
        (not wanted.kinds or moment.kind in wanted.kinds)
        and (not wanted.by or by_whom(moment.athlete, one.own) == wanted.by)
        and wanted.note.casefold() in moment.note.casefold()
    )


def _fits_segment(one: StudyBout, segment: Segment, wanted: Wanted) -> bool:
    labels = {segment.position, coarse(segment.position)}
    side = side_of(segment.position, segment.top, one.own)
    return (
        (not wanted.positions or bool(labels & set(wanted.positions)))
        and (not wanted.side or side == wanted.side)
        and wanted.note.casefold() in segment.note.casefold()
    )


def _moment_clip(one: StudyBout, moment: Moment, settings: ClipsSettings) -> Clip:
    who = one.name_of(moment.athlete) if moment.athlete else ""
    what = moment.kind.replace("_", " ")
    return _clip(
        one,
        moment.start_s,
        moment.end_s,
        ", ".join(filter(None, (what, who, moment.note))),
        settings,
        core=(moment.start_s, moment.end_s),
        peak_s=moment.peak_s,
    )


def _segment_clip(one: StudyBout, segment: Segment, settings: ClipsSettings) -> Clip:
    fine = segment.position.partition("/")[2]
    top = f"{one.name_of(segment.top)} on top" if segment.top else ""
    words = (position(segment.position).name, fine, top, segment.note)
    return _clip(one, segment.start_s, segment.end_s, ", ".join(filter(None, words)), settings)


def _clip(
    one: StudyBout,
    start_s: float,
    end_s: float,
    what: str,
    settings: ClipsSettings,
    core: tuple[float, float] | None = None,
    peak_s: float | None = None,
) -> Clip:
    shown = " ".join(what.split())
    return Clip(
        one.bout,
        max(0.0, start_s - settings.lead_in_s),
        min(one.bout.duration_s, end_s + settings.lead_out_s),
        shown,
        clock(max(0.0, (start_s if peak_s is None else peak_s) - one.bout.start_s)),
        core,
        peak_s,
    )


def _check(what: str, given: Iterable[str], known: list[str]) -> None:
    for one in given:
        if one not in known:
            raise MatlineError(
                f"There is no {what} “{one}”{nearest(one, known)}; use {', '.join(known)}."
            )
