"""What changes between positions: reversal, sweep, takedown, pass, mount, back, stand-up."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from pipeline.moments.spells import ON_FEET, PAST_GUARD, Spell, held_s
from pipeline.settings import MomentsSettings
from pipeline.timeline import ATTEMPT_SUFFIX, Athlete, Moment, other

_TAKEN = {
    "mount": "mount_taken",
    "back_control": "back_taken",
    "knee_on_belly": "knee_on_belly_taken",
}


def find_transitions(parts: list[Spell], settings: MomentsSettings) -> list[Moment]:
    """Find every change of position that has a name, held or attempted.

    Parameters
    ----------
    parts : list of Spell
        In order of time.
    settings : MomentsSettings
    """
    finders = (_reversals, _passes, _positions_taken, _takedowns, _stand_ups)
    return [moment for find in finders for moment in find(parts, settings)]


def _reversals(parts: list[Spell], settings: MomentsSettings) -> Iterator[Moment]:
    """Yield changes of who is on top; from guard or half guard they are sweeps."""
    before: Spell | None = None
    for i, part in enumerate(parts):
        if part.position in ON_FEET:
            before = None
        if not part.settled:
            continue
        if before is None or part.top == before.top:
            before = part
            continue
        if part.start_s - before.end_s > settings.gap_s:
            before = part
            continue
        moment = _changed(parts, i, before, settings)
        # Who was on top only briefly took nothing: the other getting back is no reversal.
        if not moment.kind.endswith(ATTEMPT_SUFFIX):
            before = part
        if part.position != "back_control":  # a back taken has its own name
            yield moment


def _changed(parts: list[Spell], i: int, before: Spell, settings: MomentsSettings) -> Moment:
    part = parts[i]
    kind = "sweep" if before.is_guard else "reversal"
    evidence = {"gap_s": part.start_s - before.end_s, "from_guard": float(before.is_guard)}
    held = _top_held(parts, i, settings)
    return _event(kind, part, before.end_s, held, settings, evidence, before.confidence)


def _passes(parts: list[Spell], settings: MomentsSettings) -> Iterator[Moment]:
    """Yield ways from guard or half guard to a position past the legs, same athlete on top."""
    before: Spell | None = None
    for i, part in enumerate(parts):
        if part.position in ON_FEET or (part.settled and part.position == "turtle"):
            before = None  # going to the knees is an answer to a pass, not a pass
        if not part.settled:
            continue
        passed = part.position in PAST_GUARD - {"back_control"}
        if before and passed and before.is_guard and before.top == part.top:
            gap_s = part.start_s - before.end_s
            if gap_s <= settings.gap_s:
                keeps = _past_guard_of(part.top)
                held = held_s(parts, i, keeps, settings.pause_s)
                evidence = {"gap_s": gap_s}
                yield _event(
                    "guard_pass", part, before.end_s, held, settings, evidence, before.confidence
                )
        before = part


def _past_guard_of(athlete: Athlete | None) -> Callable[[Spell], bool]:
    return lambda spell: spell.top == athlete and spell.position in PAST_GUARD


def _positions_taken(parts: list[Spell], settings: MomentsSettings) -> Iterator[Moment]:
    """Yield entries into mount, back control and knee on belly."""
    for i, part in enumerate(parts):
        if part.position not in _TAKEN or not part.settled:
            continue
        kind = _TAKEN[part.position]
        before = parts[i - 1] if i else None
        start_s = part.start_s
        if before and before.position == "scramble" and part.start_s - before.end_s < 1e-6:
            start_s = max(before.start_s, part.start_s - settings.gap_s)
        yield _event(kind, part, start_s, part.duration_s, settings, {}, 1.0)


def _takedowns(parts: list[Spell], settings: MomentsSettings) -> Iterator[Moment]:
    """Yield ways from the feet to the ground, and those that ended on the feet again."""
    gripped: Spell | None = None
    on_feet = False
    for i, part in enumerate(parts):
        if part.position == "takedown":
            gripped = part
        elif part.position in ON_FEET:
            if gripped:
                yield _takedown_failed(gripped)
            gripped, on_feet = None, part.position == "standing"
        elif part.settled:
            # From the feet into a guard without a grip is a guard pull: nobody was taken down.
            pulled = part.is_guard or part.position == "leg_entanglement"
            if gripped or (on_feet and not pulled):
                start_s = gripped.start_s if gripped else part.start_s
                yield _event(
                    "takedown",
                    part,
                    start_s,
                    _top_held(parts, i, settings),
                    settings,
                    {"into_guard": float(part.is_guard)},
                    gripped.confidence if gripped else 1.0,
                )
            gripped, on_feet = None, False


def _takedown_failed(gripped: Spell) -> Moment:
    return Moment(
        start_s=gripped.start_s,
        peak_s=gripped.end_s,
        end_s=gripped.end_s,
        kind="takedown" + ATTEMPT_SUFFIX,
        athlete=gripped.top,
        strength=0.0,
        confidence=gripped.confidence,
        evidence={"held_s": 0.0},
    )


def _stand_ups(parts: list[Spell], settings: MomentsSettings) -> Iterator[Moment]:
    """Yield ways from underneath to both on their feet; a stop (apart) is none."""
    before: Spell | None = None
    for i, part in enumerate(parts):
        if part.settled:
            before = part
        elif part.position == "standing" and before and before.top:
            if part.start_s - before.end_s <= settings.gap_s:
                yield _event(
                    "stand_up",
                    part,
                    before.end_s,
                    held_s(parts, i, lambda s: s.position == "standing", settings.pause_s),
                    settings,
                    {},
                    before.confidence,
                    athlete=other(before.top),
                )
            before = None
        elif part.position in ON_FEET:
            before = None


def _top_held(parts: list[Spell], i: int, settings: MomentsSettings) -> float:
    top = parts[i].top
    return held_s(parts, i, lambda s: top is not None and s.held_by(top), settings.pause_s)


def _event(
    kind: str,
    part: Spell,
    start_s: float,
    held: float,
    settings: MomentsSettings,
    evidence: dict[str, float],
    confidence: float,
    athlete: Athlete | None = None,
) -> Moment:
    """A change into `part`: under its own name if held, else the attempt of it."""
    reached = held >= settings.hold_s - 1e-9
    return Moment(
        start_s=min(start_s, part.start_s),
        peak_s=part.start_s,
        end_s=part.start_s + min(held, settings.hold_s),
        kind=kind if reached else kind + ATTEMPT_SUFFIX,
        athlete=athlete or part.top,
        strength=held,
        confidence=min(part.confidence, confidence),
        evidence={"held_s": held, **evidence},
    )
