"""The rules: what each position is, in words and in numbers, in the order in which they are asked.

A rule is a list of clauses that must all hold; the first rule that holds names the pair. Lengths are
trunk lengths. ``{top}`` and ``{under}`` stand for the athletes' names. These are our definitions;
where the trade is split, docs/judging.md says which side they take.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from pipeline.positions.judging.measures import Measures
from pipeline.positions.judging.postures import (
    face_down,
    in_the_air,
    lying,
    on_feet,
    on_the_mat,
    turned_in,
    upright_on_feet,
)

Test = Callable[[Measures], np.ndarray]
"""Whether something holds, (N, 2): column i with athlete i as the one on top."""


@dataclass(frozen=True)
class Clause:
    """One thing that must hold, in words and as a test."""

    words: str
    test: Test


@dataclass(frozen=True)
class Rule:
    """A position, or one shape of it.

    Attributes
    ----------
    position : str
        Key of the vocabulary.
    shape : str
        Which shape of it, in a few words; ``""`` for the usual one.
    clauses : tuple of Clause
        All must hold.
    """

    position: str
    shape: str
    clauses: tuple[Clause, ...]

    def holds(self, m: Measures) -> np.ndarray:
        """Return whether all clauses hold, bool (N, 2)."""
        return np.logical_and.reduce([clause.test(m) for clause in self.clauses])


def under(x: np.ndarray) -> np.ndarray:
    """The same measure of the one underneath."""
    return x[:, ::-1]


def higher(m: Measures) -> np.ndarray:
    """How much higher the own trunk is than the other's."""
    middle = (m.hip + m.shoulder) / 2
    return middle - under(middle)


def behind(m: Measures) -> np.ndarray:
    """The own chest is at the other's back."""
    return (m.chest_ahead < -0.1) & (under(m.chest_ahead) > 0.1) & (m.facing > 0.25)


def attack(m: Measures) -> np.ndarray:
    """Who brings the other down: has hands on legs, stays nearer the feet, is less tipped."""
    hold = 1.2 * np.clip(1.2 - m.hand_to_leg, 0, 1) + 0.4 * np.clip(1.2 - m.hand_to_trunk, 0, 1)
    base = 0.5 * (m.feet_down + m.knees_down > 0) - 0.4 * np.clip(m.lowest, 0, 2)
    return hold + base


def _legs_hold_trunk(m: Measures) -> np.ndarray:
    """The legs of the one underneath close round the other's trunk, head or arm."""
    feet = under(m.feet_behind == 2) & (under(m.ankles_apart) < 0.8)
    return under(m.trunk_caught | m.head_caught) | feet


def _locked(m: Measures) -> np.ndarray:
    return under((m.ankles_apart < 0.45) | m.crossed)


RULES: tuple[Rule, ...] = (
    Rule(
        "standing",
        "",
        (
            Clause(
                "both are on their feet", lambda m: upright_on_feet(m) & under(upright_on_feet(m))
            ),
            Clause("they are within reach", lambda m: m.chests_apart < 3.5),
            Clause(
                "neither has the other's legs",
                lambda m: (m.hand_to_leg > 0.36) & under(m.hand_to_leg > 0.36),
            ),
            Clause(
                "neither holds the waist from behind",
                lambda m: ~_waist_from_behind(m) & ~under(_waist_from_behind(m)),
            ),
            Clause(
                "neither hangs on with the legs", lambda m: ~m.trunk_caught & ~under(m.trunk_caught)
            ),
        ),
    ),
    Rule(
        "apart", "", (Clause("nothing of one is within reach of the other", lambda m: m.gap > 0.5),)
    ),
    Rule(
        "takedown",
        "from the knees",
        (
            Clause(
                "{top} is on the knees at the legs of the other",
                lambda m: turned_in(m) & (m.hand_to_leg < 0.5),
            ),
            Clause(
                "{under} is on the feet or sprawls",
                lambda m: under(
                    on_feet(m)
                    | (
                        (m.upright < 0.6)
                        & (m.knee_high > 0.0)
                        & (m.legs_gap > -1)
                        & (m.hips_along < 0)
                    )
                ),
            ),
            Clause("{top} faces {under}", lambda m: under(m.same_way) < 0.4),
        ),
    ),
    Rule(
        "turtle",
        "",
        (
            Clause("{under} is on the knees, belly down", lambda m: under(turned_in(m))),
            Clause("{top} is behind, beside or in front, and touches", lambda m: m.gap < 0.2),
            Clause("{top} is over {under}", lambda m: higher(m) > -0.15),
            Clause("{top} is not on the back or seat", lambda m: ~on_the_mat(m) & ~in_the_air(m)),
            Clause("{top}'s chest is at the back or the shoulders", lambda m: m.chest_ahead < 0.25),
            Clause("no leg of {top} is held", lambda m: under(m.legs_caught == 0)),
        ),
    ),
    Rule(
        "back_control",
        "",
        (
            Clause("{top}'s chest is at {under}'s back", behind),
            Clause("both trunks point the same way", lambda m: m.same_way > 0.25),
            Clause(
                "chest and back are close", lambda m: (m.chests_apart < 1.15) & (m.trunk_gap < 0.8)
            ),
            Clause(
                "{top}'s legs reach round {under}'s hips or legs",
                lambda m: (
                    (m.hooks >= 1) | m.trunk_caught | (m.legs_caught > 0) | under(face_down(m))
                ),
            ),
            Clause("{top} is not on the own feet", lambda m: ~on_feet(m)),
        ),
    ),
    Rule(
        "half_guard",
        "",
        (
            Clause(
                "one leg of {top} is between {under}'s legs", lambda m: under(m.legs_caught == 1)
            ),
            Clause("{under}'s legs are not round the trunk", lambda m: ~under(m.trunk_caught)),
            Clause("{under} is on the back, a side or an elbow", lambda m: under(on_the_mat(m))),
            Clause(
                "{top} is over {under} and not on the feet",
                lambda m: (higher(m) > 0.3) & ~(on_feet(m) & (m.hip > 1.35)),
            ),
            Clause(
                "the trunks are near each other",
                lambda m: (m.trunk_gap < 1.2) & (m.chests_apart < 1.6),
            ),
        ),
    ),
    Rule(
        "leg_entanglement",
        "",
        (
            Clause("{top}'s legs are wound round one leg of {under}", lambda m: m.legs_caught >= 1),
            Clause(
                "{top} holds that leg with the hands",
                lambda m: (m.hand_to_leg < 0.45) & (m.hand_to_leg <= under(m.hand_to_leg)),
            ),
            Clause("the trunks are apart", lambda m: m.chests_apart > 1.5),
            Clause("{top} is on the mat", on_the_mat),
        ),
    ),
    Rule(
        "closed_guard",
        "",
        (
            Clause("{under}'s legs close round {top}'s trunk, head or arm", _legs_hold_trunk),
            Clause("{under}'s feet are crossed", _locked),
            Clause(
                "{under} faces {top}", lambda m: (m.chest_ahead > -0.1) & under(m.hips_ahead > 0.1)
            ),
            Clause(
                "{under} is on the mat or carried", lambda m: under(~turned_in(m) & ~on_feet(m))
            ),
            Clause("{top} is on knees or feet", lambda m: m.faces_up < 0.5),
        ),
    ),
    Rule(
        "mount",
        "",
        (
            Clause(
                "{top} sits astride {under}'s trunk", lambda m: m.trunk_caught | m.knees_astride
            ),
            Clause(
                "{top}'s hips are on the trunk",
                lambda m: (
                    (m.hips_along > -0.05)
                    & (m.hips_along < 1.25)
                    & (m.hips_aside < 0.5)
                    & (m.hips_ahead > 0)
                ),
            ),
            Clause("{top} faces the head", lambda m: m.same_way > -0.2),
            Clause(
                "none of {top}'s legs is held",
                lambda m: under((m.legs_caught == 0) & ~m.trunk_caught),
            ),
            Clause("{under}'s legs are not between them", lambda m: under(m.legs_before == 0)),
            Clause("{under} lies", lambda m: under(lying(m) | (m.upright < 0))),
            Clause("{top} is over {under}", lambda m: higher(m) > 0.3),
        ),
    ),
    Rule(
        "knee_on_belly",
        "",
        (
            Clause("{top}'s one knee is on {under}'s trunk", lambda m: m.knees_on == 1),
            Clause(
                "{top} is up, on the other foot",
                lambda m: (m.hip > 0.85) & (m.feet_down >= 1) & (m.upright > 0.4),
            ),
            Clause("no leg of {top} is held", lambda m: under(m.legs_caught == 0)),
            Clause("{under} lies", lambda m: under(lying(m))),
            Clause("past the legs", lambda m: m.hips_along > 0.05),
        ),
    ),
    Rule(
        "north_south",
        "",
        (
            Clause("{top} lies head to foot over {under}", lambda m: m.same_way < -0.5),
            Clause(
                "chest on chest",
                lambda m: (m.chest_ahead > 0) & (m.chests_apart < 1.1) & (m.facing < -0.3),
            ),
            Clause("{top}'s hips are beyond the head", lambda m: m.hips_along > 1.05),
            Clause("{top} is over {under}", lambda m: higher(m) > 0.1),
            Clause("{under} lies", lambda m: under(lying(m))),
        ),
    ),
    Rule(
        "side_control",
        "",
        (
            Clause(
                "{top}'s hips are past the legs",
                lambda m: (m.hips_along > 0.1) & under((m.legs_caught == 0) & ~m.trunk_caught),
            ),
            Clause("{under} lies", lambda m: under(lying(m) | on_the_mat(m))),
            Clause("{top} is over {under}", lambda m: higher(m) > 0.15),
            Clause("{top} is on the trunk", lambda m: m.trunk_gap < 0.9),
            Clause("{under}'s knees are not between them", lambda m: under(m.legs_before == 0)),
            Clause("{top} faces down", lambda m: m.faces_up < 0.4),
            Clause("{top} does not stand", lambda m: ~upright_on_feet(m)),
        ),
    ),
    Rule(
        "open_guard",
        "",
        (
            Clause("{under} is on the back, a side or the seat", lambda m: under(on_the_mat(m))),
            Clause("{under} faces {top}", lambda m: m.chest_ahead > 0),
            Clause(
                "{top} is at the legs, or they are between",
                lambda m: (m.hips_along < 0.25) | under(m.legs_before > 0),
            ),
            Clause("{top} is on knees or feet", lambda m: ~on_the_mat(m)),
        ),
    ),
    Rule(
        "takedown",
        "",
        (
            Clause("they touch", lambda m: m.gap < 0.2),
            Clause(
                "one is on the feet or in the air",
                lambda m: on_feet(m) | under(on_feet(m)) | in_the_air(m) | under(in_the_air(m)),
            ),
            Clause("{top} brings {under} down", lambda m: attack(m) > under(attack(m))),
        ),
    ),
)


def _waist_from_behind(m: Measures) -> np.ndarray:
    return behind(m) & (m.hand_to_trunk < 0.5) & (m.chest_along < -0.1)
