"""The rules: what each position is, in the order in which they are asked.

A rule is a list of clauses that must all hold; the first rule that holds names the pair, and where
none does, the answer is None. These are our definitions; where the trade is split, docs/judging.md
says which side they take.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.positions.judging import clauses as c
from pipeline.positions.judging.clauses import Clause
from pipeline.positions.judging.measures import Measures


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


def _rule(position: str, *clauses: Clause, shape: str = "") -> Rule:
    return Rule(position, shape, clauses)


RULES: tuple[Rule, ...] = (
    _rule(
        "standing",
        c.both_on_feet,
        c.within_two_paces,
        c.no_hands_on_legs,
        c.waists_free,
        c.nobody_hangs_on,
    ),
    _rule("apart", c.out_of_reach),
    _rule(
        "takedown",
        c.shoots_from_the_knees,
        c.under_stands_or_sprawls,
        c.top_comes_from_the_front,
        shape="shot from the knees",
    ),
    _rule(
        "turtle",
        c.under_turned_in,
        c.touching,
        c.top_is_level,
        c.top_has_base,
        c.chest_at_back_or_shoulders,
    ),
    _rule(
        "back_control",
        c.chest_to_back,
        c.close_behind,
        c.hooks_in,
        c.top_does_not_stand,
        c.under_has_ground,
    ),
    _rule(
        "back_control",
        c.hips_behind,
        c.legs_wound,
        c.nobody_stands,
        c.under_has_ground,
        shape="leg ride",
    ),
    _rule(
        "closed_guard",
        c.legs_round_trunk,
        c.feet_locked,
        c.under_faces_top,
        c.under_in_front,
        c.under_off_the_base,
        c.top_on_the_base,
    ),
    _rule(
        "half_guard",
        c.one_leg_held,
        c.trunk_free,
        c.under_lies,
        c.top_is_level,
        c.top_does_not_stand,
        c.top_not_on_the_back,
        c.trunks_near,
    ),
    _rule(
        "leg_entanglement",
        c.legs_wound,
        c.hands_on_leg,
        c.chests_apart,
        c.top_on_the_mat,
        c.other_down_or_locked,
    ),
    _rule(
        "mount",
        c.astride,
        c.hips_on_trunk,
        c.same_way,
        c.no_leg_held,
        c.nothing_between,
        c.under_lies,
        c.top_is_over,
    ),
    _rule(
        "knee_on_belly",
        c.knee_on_trunk,
        c.top_up_on_a_foot,
        c.no_leg_held,
        c.under_lies,
    ),
    _rule(
        "mount",
        c.sits_on_side,
        c.same_way,
        c.no_leg_held,
        c.trunks_touch,
        c.under_lies,
        c.top_is_over,
        shape="on one hip",
    ),
    _rule(
        "north_south",
        c.head_to_foot,
        c.hips_beyond_head,
        c.under_lies,
        c.top_is_over,
    ),
    _rule(
        "back_control",
        c.arm_between_legs,
        c.chest_at_back_or_shoulders,
        c.trunks_touch,
        c.nobody_stands,
        shape="crucifix",
    ),
    _rule(
        "side_control",
        c.past_the_legs,
        c.no_leg_held,
        c.nothing_between,
        c.head_free,
        c.trunks_touch,
        c.under_lies,
        c.top_is_over,
        c.top_faces_down,
        c.top_hips_low,
    ),
    _rule(
        "open_guard",
        c.under_on_the_mat,
        c.under_faces_top,
        c.at_the_legs,
        c.top_on_the_base,
    ),
    _rule(
        "takedown",
        c.touching,
        c.one_on_feet_or_in_the_air,
        c.top_brings_down,
    ),
)
