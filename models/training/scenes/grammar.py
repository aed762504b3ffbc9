"""Which position leads to which, and how fast: random bouts as plans that motion turns into poses.

What may follow what, and roughly how often, is the table that decoding uses
(`pipeline.positions.tables`). Weights are flattened here so that rare positions are seen often
and decoding isn't judged on its own assumptions. Paces are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipeline.positions.states import STATES, joint, top_of
from pipeline.positions.tables import durations, grammar
from pipeline.timeline import Athlete, coarse, other, position

PACE = 0.45
"""Holds last this share of their typical time: training bouts are denser than real ones."""
SPREAD = 0.7
"""Standard deviation of log durations: most holds are short, a few long."""
FLATTEN = 0.5
"""Exponent on the weights of transitions."""
RARE = 0.005
"""Weight of transitions the table doesn't list."""
SLIP_CHANCE = 0.13
"""How often a hold is interrupted by an attempt that is not reached."""
VARIANT_CHANCE = 0.35
"""How often a hold goes on in another pose, perhaps another template, of its position."""
BRIEF_CHANCE = 0.2
"""How often a position is reached but lost again within three seconds."""
ELEVATION_CHANCE = 0.5
"""How often whoever is underneath comes up or carries the other, where there is a pose for it."""
LIFT_CHANCE = 0.8
"""How often that is a lift and not a rise, where both are possible."""
SWEEP_CHANCE = 0.4
"""How often coming up ends in a change of position, and not down again."""
OFTENER = {
    "takedown": 3.0, "knee_on_belly": 5.0, "half_guard": 1.5, "leg_entanglement": 1.5,
    "north_south": 1.5, "standing": 0.5,
}  # fmt: skip
"""Factors on the weights of positions that would be seen too rarely to learn, or too often."""
START_CHANCE = 0.5
"""How often a bout starts on the ground, as it does in training and after a restart."""

GROUND = ("closed_guard", "open_guard", "open_guard", "half_guard", "turtle", "side_control")
"""Where those start."""

LIFTS = {
    "open_guard": ("butterfly lift", "carried on the feet"),
    "half_guard": ("half guard, lifted",),
}
"""Poses in which the bottom athlete carries the other; they are moves, nobody rests in them."""
RISES = {
    "closed_guard": ("closed guard, up on the hand",),
    "open_guard": ("seated guard, other kneeling", "seated guard, other standing"),
    "half_guard": ("half guard, up on the elbow",),
    "side_control": ("side control, up on the elbow",),
    "turtle": ("turtle, coming up",),
}
"""Poses in which the bottom athlete's trunk is up, by position."""
LOW = {
    "butterfly lift": ("butterfly guard", "feet on hips, other kneeling"),
    "carried on the feet": ("feet on hips, other kneeling", "butterfly guard"),
    "half guard, lifted": ("half guard, flat", "half guard, knee shield"),
    "closed guard, up on the hand": ("closed guard, low", "closed guard, high"),
    "seated guard, other kneeling": ("feet on hips, other kneeling",),
    "seated guard, other standing": ("feet on hips, other standing",),
    "half guard, up on the elbow": ("half guard, flat", "half guard, deep"),
    "side control, up on the elbow": ("side control, cross face", "side control, facing the legs"),
    "turtle, coming up": ("turtle, attacker behind", "turtle, attacker beside"),
}
"""Where each of these starts from, down on the mat."""


@dataclass(frozen=True)
class Hold:
    """One stop of a bout: how to get there, and how long to stay.

    Attributes
    ----------
    template : str
        Whose pose is approached.
    pose_top : {"A", "B"}
        Athlete in the template's top role (role of the first body where nobody is on top).
    position : str
        True label while holding.
    top : {"A", "B", None}
        True top athlete while holding.
    entry_s : float
        Seconds from the hold before.
    hold_s : float
        Seconds of staying.
    reach : float
        0–1, how far towards the template's pose; below 1 for what is attempted and not reached.
    switch : float
        0–1, share of the entry after which the label is this hold's.
    """

    template: str
    pose_top: Athlete
    position: str
    top: Athlete | None
    entry_s: float
    hold_s: float
    reach: float = 1.0
    switch: float = 0.6


def plan_bout(
    rng: np.random.Generator,
    templates: Mapping[str, str],
    seconds: float = 60.0,
    start: str | None = None,
) -> list[Hold]:
    """Draw a bout.

    Parameters
    ----------
    rng : numpy.random.Generator
    templates : mapping of str to str
        Position of each template there is.
    seconds : float
        Length; the last hold ends within a second of it.
    start : str, optional
        Position to start from, if there is a template for it; standing or a guard by default.

    Returns
    -------
    list of Hold
        The first has an entry of 0 s.
    """
    by_position = _templates_by_position(templates)
    start = start or ("standing" if rng.random() > START_CHANCE else str(rng.choice(GROUND)))
    state = start if start in by_position else next(iter(by_position))
    state = joint(state, _random_athlete(rng) if position(state).has_top else None)
    plan = [_hold(rng, state, by_position, None)]
    plan[0] = replace(plan[0], entry_s=0.0)
    while (elapsed := sum(h.entry_s + h.hold_s for h in plan)) < seconds:
        if elapsed + 3 < seconds and (extra := _inside(rng, plan[-1], by_position)):
            plan += extra
            state = joint(plan[-1].position, plan[-1].top)
            continue
        state = _next_state(rng, state, by_position)
        if coarse(state) not in by_position:
            plan += _unsettled(rng, plan[-1], state, by_position)
        else:
            plan.append(_hold(rng, state, by_position, plan[-1]))
    surplus = elapsed - seconds
    plan[-1] = replace(plan[-1], hold_s=max(plan[-1].hold_s - surplus, 0.3))
    return plan


def _templates_by_position(templates: Mapping[str, str]) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for name, where in templates.items():
        found.setdefault(where, []).append(name)
    return found


def _random_athlete(rng: np.random.Generator) -> Athlete:
    return "A" if rng.random() < 0.5 else "B"


def _next_state(rng: np.random.Generator, state: str, by_position: Mapping[str, list[str]]) -> str:
    """Draw what follows: a position with a template, or a scramble."""
    rules = grammar(STATES, RARE)
    possible = np.array([coarse(s) in by_position or s == "scramble" for s in rules.states])
    weight = np.exp(rules.log_transition[rules.states.index(state)] * FLATTEN) * possible
    weight = weight * [OFTENER.get(coarse(s), 1.0) for s in rules.states]
    return str(rng.choice(list(rules.states), p=weight / weight.sum()))


def _duration(rng: np.random.Generator, mean_s: float, least_s: float) -> float:
    """Log-normal with the given mean, cut below and at four times the mean."""
    drawn = mean_s * np.exp(rng.normal(-(SPREAD**2) / 2, SPREAD))
    return float(np.clip(drawn, least_s, 4 * mean_s))


def _hold_s(rng: np.random.Generator, where: str) -> float:
    lasting = durations()
    least, typical = (float(lasting[c].loc[where]) for c in ("minimum_s", "typical_s"))
    if rng.random() < BRIEF_CHANCE:
        return float(rng.uniform(least, max(2.8, least + 0.5)))
    return _duration(rng, PACE * typical, least)


def _entry_s(rng: np.random.Generator, before: str, after: str) -> float:
    """Getting up, down or over takes longer than a step within a position."""
    if before == after:
        mean = 0.9
    elif "standing" in (before, after) and "takedown" not in (before, after):
        mean = 1.5
    else:
        mean = 1.2
    return float(np.clip(mean * np.exp(rng.normal(0, 0.3)), 0.5, 3.0))


def _switch(before: str, after: str) -> float:
    """When the label changes: a takedown begins with the entry and lasts until settled."""
    if after in ("takedown", "scramble"):
        return 0.25
    if before in ("takedown", "scramble"):
        return 0.8
    return 0.6


def _hold(
    rng: np.random.Generator,
    state: str,
    by_position: Mapping[str, list[str]],
    before: Hold | None,
) -> Hold:
    where, top = coarse(state), top_of(state)
    came_from = before.position if before else where
    return Hold(
        template=_resting(rng, by_position[where]),
        pose_top=top or (before.pose_top if before else _random_athlete(rng)),
        position=where,
        top=top,
        entry_s=_entry_s(rng, came_from, where),
        hold_s=_hold_s(rng, where),
        switch=_switch(came_from, where),
    )


def _inside(
    rng: np.random.Generator, last: Hold, by_position: Mapping[str, list[str]]
) -> list[Hold]:
    """What happens without leaving the position: another variant of it, or a slip."""
    if last.position not in by_position or last.reach < 1:
        return []
    if rng.random() < ELEVATION_CHANCE and (moves := _elevation(rng, last, by_position)):
        return moves
    draw = rng.random()
    if draw < VARIANT_CHANCE:
        return [
            replace(
                last,
                template=_resting(rng, by_position[last.position]),
                entry_s=_entry_s(rng, last.position, last.position),
                hold_s=_hold_s(rng, last.position) / 2,
            )
        ]
    if draw < VARIANT_CHANCE + SLIP_CHANCE:
        return _slip(rng, last, by_position)
    return []


def _resting(rng: np.random.Generator, names: Sequence[str]) -> str:
    """Draw a pose that one stays in."""
    lifts = {name for several in LIFTS.values() for name in several}
    return str(rng.choice([name for name in names if name not in lifts] or list(names)))


def _elevation(
    rng: np.random.Generator, last: Hold, by_position: Mapping[str, list[str]]
) -> list[Hold]:
    """From low down up, staying there for a moment, then into another position or down again."""
    known = by_position[last.position]
    lifts = [name for name in LIFTS.get(last.position, ()) if name in known]
    rises = [name for name in RISES.get(last.position, ()) if name in known]
    if last.top is None or not lifts + rises:
        return []
    lifted = bool(lifts) and (not rises or rng.random() < LIFT_CHANCE)
    up = str(rng.choice(lifts if lifted else rises))
    low = [name for name in LOW[up] if name in known] or known
    moves = []
    if last.template not in low:
        entry_s = _entry_s(rng, last.position, last.position)
        low_s = float(rng.uniform(0.8, 2.5))
        moves.append(replace(last, template=str(rng.choice(low)), entry_s=entry_s, hold_s=low_s))
    down = moves[-1] if moves else last
    stays_s = float(rng.uniform(0.5, 1.4) if lifted else rng.uniform(0.8, 3.0))
    entry_s = float(rng.uniform(0.5, 1.1))
    moves.append(replace(last, template=up, entry_s=entry_s, hold_s=stays_s, switch=0.6))
    if rng.random() < SWEEP_CHANCE and (after := _turned(rng, moves[-1], by_position)):
        return [*moves, after]
    entry_s, hold_s = float(rng.uniform(0.6, 1.3)), _hold_s(rng, last.position) / 2
    return [*moves, replace(down, entry_s=entry_s, hold_s=max(hold_s, 0.8))]


def _turned(
    rng: np.random.Generator, last: Hold, by_position: Mapping[str, list[str]]
) -> Hold | None:
    """What follows if coming up was worth it: the other athlete on top, or both on their feet."""
    for _ in range(20):
        state = _next_state(rng, joint(last.position, last.top), by_position)
        better = top_of(state) not in (None, last.top) or coarse(state) == "standing"
        if better and coarse(state) in by_position:
            return _hold(rng, state, by_position, last)
    return None


def _slip(rng: np.random.Generator, last: Hold, by_position: Mapping[str, list[str]]) -> list[Hold]:
    """Go some way towards what might follow, and fall back."""
    aim = _next_state(rng, joint(last.position, last.top), by_position)
    if coarse(aim) not in by_position:
        return []
    there = replace(
        last,
        template=str(rng.choice(by_position[coarse(aim)])),
        pose_top=top_of(aim) or last.pose_top,
        entry_s=float(rng.uniform(0.5, 1.2)),
        hold_s=float(rng.uniform(0.0, 0.4)),
        reach=float(rng.uniform(0.3, 0.5)),
    )
    back = replace(last, entry_s=float(rng.uniform(0.5, 1.2)), hold_s=_hold_s(rng, last.position))
    return [there, back]


def _unsettled(
    rng: np.random.Generator, last: Hold, state: str, by_position: Mapping[str, list[str]]
) -> list[Hold]:
    """A scramble: two or three poses half reached, on the way to whatever follows."""
    stops = []
    pose_top = last.pose_top
    for k in range(int(rng.integers(2, 4))):
        aim = _next_state(rng, state, by_position)
        if coarse(aim) not in by_position:
            continue
        pose_top = top_of(aim) or other(pose_top)
        stops.append(
            Hold(
                template=str(rng.choice(by_position[coarse(aim)])),
                pose_top=pose_top,
                position=coarse(state),
                top=None,
                entry_s=float(rng.uniform(0.5, 0.9)),
                hold_s=float(rng.uniform(0.0, 0.3)),
                reach=float(rng.uniform(0.45, 0.7)),
                switch=_switch(last.position, coarse(state)) if k == 0 else 0.5,
            )
        )
    return stops
