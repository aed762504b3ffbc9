"""What rules are made of: things that hold or don't, each with the words that say so.

``{top}`` stands for the athlete on top (who has the back, who attacks), ``{under}`` for the other.
Lengths are trunk lengths, about half a metre.
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
    sprawled,
    turned_in,
    upright_on_feet,
)

Test = Callable[[Measures], np.ndarray]
"""Whether something holds, bool (N, 2): column i with athlete i as the one on top."""


@dataclass(frozen=True)
class Clause:
    """One thing that must hold, in words and as a test."""

    words: str
    test: Test


def clause(words: str) -> Callable[[Test], Clause]:
    """Make a test a clause."""
    return lambda test: Clause(words, test)


def under(x: np.ndarray) -> np.ndarray:
    """The same measure of the one underneath."""
    return x[:, ::-1]


def higher(m: Measures) -> np.ndarray:
    """How much higher the own trunk is than the other's."""
    middle = (m.hip + m.shoulder) / 2
    return middle - under(middle)


# Where the two are


@clause("nothing of one is within a quarter of a metre of the other")
def out_of_reach(m: Measures) -> np.ndarray:
    return m.gap > 0.5


@clause("they touch")
def touching(m: Measures) -> np.ndarray:
    return m.gap < 0.2


@clause("they are no more than two paces apart")
def within_two_paces(m: Measures) -> np.ndarray:
    return m.chests_apart < 3.5


@clause("{top}'s trunk is the higher one")
def top_is_over(m: Measures) -> np.ndarray:
    return higher(m) > 0.15


@clause("{top}'s trunk is not the lower one")
def top_is_level(m: Measures) -> np.ndarray:
    return higher(m) > -0.15


@clause("the trunks are near each other")
def trunks_near(m: Measures) -> np.ndarray:
    return (m.trunk_gap < 1.2) & (m.chests_apart < 1.6)


@clause("the trunks touch")
def trunks_touch(m: Measures) -> np.ndarray:
    return (m.trunk_gap < 0.9) | ((m.trunk_gap < 1.0) & under(m.legs_before == 0))


@clause("the chests are at arm's length")
def chests_apart(m: Measures) -> np.ndarray:
    return m.chests_apart > 1.5


# What one of them does


@clause("both are on their feet, not falling back")
def both_on_feet(m: Measures) -> np.ndarray:
    bent_at_most = (m.upright > 0) & (m.faces_up < 0.6)
    up = on_feet(m) & (m.hip > 1.25) & bent_at_most
    return up & under(up)


@clause("one of them is on the feet or in the air")
def one_on_feet_or_in_the_air(m: Measures) -> np.ndarray:
    up = on_feet(m) | in_the_air(m)
    return up | under(up)


@clause("{under} is turned in: on the knees or on hands and feet, belly down")
def under_turned_in(m: Measures) -> np.ndarray:
    return under(turned_in(m))


@clause("{under} lies on the back or a side")
def under_lies(m: Measures) -> np.ndarray:
    return under(lying(m))


@clause("{under} is on the back, a side or the seat")
def under_on_the_mat(m: Measures) -> np.ndarray:
    return under(on_the_mat(m))


@clause("{under} is not on knees or feet")
def under_off_the_base(m: Measures) -> np.ndarray:
    return under(~turned_in(m) & ~on_feet(m))


@clause("{top} lies or sits")
def top_on_the_mat(m: Measures) -> np.ndarray:
    low = (np.abs(m.upright) < 0.35) & (np.maximum(m.hip, m.shoulder) < 1.0)
    return on_the_mat(m) | low


@clause("{top} is on knees or feet")
def top_on_the_base(m: Measures) -> np.ndarray:
    return ~on_the_mat(m) & (m.faces_up < 0.5)


@clause("{top} has a foot or a knee down, not the back or seat")
def top_has_base(m: Measures) -> np.ndarray:
    return ~on_the_mat(m) & ~in_the_air(m)


@clause("{top} does not stand")
def top_does_not_stand(m: Measures) -> np.ndarray:
    return ~upright_on_feet(m)


@clause("{top}'s hips are low")
def top_hips_low(m: Measures) -> np.ndarray:
    return ~on_feet(m) | (m.hip < 1.15)


@clause("{top} is not on the back")
def top_not_on_the_back(m: Measures) -> np.ndarray:
    return ~lying(m) & (m.faces_up < 0.5)


@clause("{under} is not held off the mat")
def under_has_ground(m: Measures) -> np.ndarray:
    return under(~in_the_air(m)) | lying(m)


@clause("{top} faces down")
def top_faces_down(m: Measures) -> np.ndarray:
    return m.faces_up < 0.4


@clause("{top} is up, on the other foot")
def top_up_on_a_foot(m: Measures) -> np.ndarray:
    up = (m.hip > 0.95) | ((m.hip > 0.7) & (m.upright > 0.35))
    return up & (m.feet_down >= 1)


# Chest, back and which way they head


@clause("{top}'s chest is at {under}'s back")
def chest_to_back(m: Measures) -> np.ndarray:
    return (m.chest_ahead < -0.1) & (under(m.chest_ahead) > 0.1) & (m.facing > 0.25)


@clause("chest and back are close, heads the same way")
def close_behind(m: Measures) -> np.ndarray:
    return (m.same_way > 0.25) & (m.chests_apart < 1.15) & (m.trunk_gap < 0.8)


@clause("{top}'s chest is at the back or over the shoulders")
def chest_at_back_or_shoulders(m: Measures) -> np.ndarray:
    return m.chest_ahead < 0.25


@clause("{top} is behind {under}, hips close to hips")
def hips_behind(m: Measures) -> np.ndarray:
    turned = (m.chest_ahead < -0.03) & (under(m.chest_ahead) > 0.1) & (m.facing > 0.3)
    return turned & (m.hips_apart < 1.1)


@clause("{under} faces {top}")
def under_faces_top(m: Measures) -> np.ndarray:
    return m.chest_ahead > -0.1


@clause("{under}'s hips are in front of {top}'s belly")
def under_in_front(m: Measures) -> np.ndarray:
    return under(m.hips_ahead > 0.1)


@clause("{top} faces {under}'s head")
def same_way(m: Measures) -> np.ndarray:
    return m.same_way > -0.2


@clause("{top} heads the other way, chest on chest")
def head_to_foot(m: Measures) -> np.ndarray:
    return (m.same_way < -0.55) & (m.chest_ahead > 0) & (m.facing < -0.3) & (m.chests_apart < 1.1)


@clause("{top}'s hips are beyond {under}'s head")
def hips_beyond_head(m: Measures) -> np.ndarray:
    return (m.hips_along > 1.1) & (m.chest_aside < 0.5)


@clause("{top}'s head is at {under}'s front or hips")
def top_comes_from_the_front(m: Measures) -> np.ndarray:
    return (m.same_way < 0.4) | ((m.chest_ahead > 0) & (m.upright > 0.15))


# Legs


@clause("one leg of {top} is between {under}'s legs, or laced with one of them")
def one_leg_held(m: Measures) -> np.ndarray:
    laced = (m.legs_caught == 1) & ~m.trunk_caught & (m.knees_on == 0) & under(lying(m))
    return under(m.legs_caught == 1) | (laced & under(m.legs_caught == 0))


@clause("no leg of {top} is between {under}'s legs")
def no_leg_held(m: Measures) -> np.ndarray:
    return under((m.legs_caught == 0) & ~m.trunk_caught)


@clause("{under}'s legs are not round {top}'s trunk")
def trunk_free(m: Measures) -> np.ndarray:
    return under(~m.trunk_caught)


@clause("{under}'s legs close round {top}'s trunk, head or arm")
def legs_round_trunk(m: Measures) -> np.ndarray:
    triangle = m.crossed & (m.feet_behind >= 1) & (m.hips_along > -0.4)
    feet = under((m.feet_behind == 2) & (m.ankles_apart < 0.8))
    return under(m.trunk_caught | m.head_caught | triangle) | feet


@clause("{under}'s feet are crossed or meet behind it")
def feet_locked(m: Measures) -> np.ndarray:
    near = (m.feet_behind == 2) & (m.ankles_apart < 1.05)
    nearer = (m.feet_behind == 1) & (m.ankles_apart < 0.75)
    high = (m.feet_behind == 1) & m.knees_astride & (m.ankles_apart < 1.4) & (m.hip < 0.35)
    meet = m.trunk_caught & (near | nearer | high)
    return under((m.ankles_apart < 0.45) | m.crossed | meet)


@clause("{top}'s legs reach round {under}'s hips or legs")
def hooks_in(m: Measures) -> np.ndarray:
    reach = (m.hooks >= 1) | m.trunk_caught | (m.legs_caught > 0) | under(face_down(m))
    return reach & (m.trunk_caught | under(~on_feet(m)))


@clause("an arm of {under} is caught between {top}'s legs")
def arm_between_legs(m: Measures) -> np.ndarray:
    return m.arms_caught >= 1


@clause("{top}'s legs are wound round one leg of {under}, or theirs round each other")
def legs_wound(m: Measures) -> np.ndarray:
    return (m.legs_caught >= 1) | under(m.legs_caught >= 1)


@clause("{top} holds the leg with the hands")
def hands_on_leg(m: Measures) -> np.ndarray:
    return (m.hand_to_leg < 0.45) & (m.hand_to_leg <= under(m.hand_to_leg))


@clause("{under} is down, too, or the legs are crossed round the leg")
def other_down_or_locked(m: Measures) -> np.ndarray:
    return under(~on_feet(m)) | (m.crossed & (m.ankles_apart < 0.6))


@clause("{top} sits astride {under}'s trunk")
def astride(m: Measures) -> np.ndarray:
    return m.trunk_caught | (m.knees_astride & (m.hips_aside < 0.25))


@clause("neither stands")
def nobody_stands(m: Measures) -> np.ndarray:
    return ~on_feet(m) & under(~on_feet(m))


@clause("{top}'s hips are on {under}'s trunk")
def hips_on_trunk(m: Measures) -> np.ndarray:
    along = (m.hips_along > -0.05) & (m.hips_along < 1.25)
    return along & (m.hips_aside < 0.5) & (m.hips_ahead > 0) & (m.hips_ahead < 0.95)


@clause("{top} sits on {under}'s side or chest, trunk up, a leg on either side")
def sits_on_side(m: Measures) -> np.ndarray:
    near = (m.hips_along > 0.1) & (m.hips_along < 1.5) & (m.hips_aside < 0.72)
    sits = (m.upright > 0.05) & (m.hip < 1.15) & under(m.legs_before == 0)
    return near & sits & (m.trunk_caught | m.head_caught | (m.arms_caught > 0))


@clause("{under}'s knees and feet are not between them")
def nothing_between(m: Measures) -> np.ndarray:
    return under(m.knees_between == 0)


@clause("{top}'s head is not between {under}'s legs")
def head_free(m: Measures) -> np.ndarray:
    return under(~m.head_caught)


@clause("{top} is past the legs: hips beside the trunk")
def past_the_legs(m: Measures) -> np.ndarray:
    return (m.hips_along > 0.1) | ((m.hips_along > -0.25) & (m.hips_aside > 0.5))


@clause("{top} is before {under}'s legs, or they are between")
def at_the_legs(m: Measures) -> np.ndarray:
    return (m.hips_along < 0.25) | under(m.legs_before > 0)


@clause("one knee of {top} is on {under}'s trunk")
def knee_on_trunk(m: Measures) -> np.ndarray:
    near = (m.hips_along > 0.05) & ((m.hips_ahead < 1.15) | under(m.legs_before < 2))
    return (m.knees_on == 1) & (m.legs_caught < 2) & near


# Hands, and who brings whom down


@clause("neither has hold of the other's legs, or both feet of both stay down")
def no_hands_on_legs(m: Measures) -> np.ndarray:
    off = m.hand_to_leg > 0.36
    planted = (m.feet_down == 2) & (m.upright > 0.45) & (m.chest_along > -0.4)
    return (off & under(off)) | (planted & under(planted))


def _waist_from_behind(m: Measures) -> np.ndarray:
    low = m.chest_along < -0.3
    return chest_to_back.test(m) & (m.hand_to_trunk < 0.5) & low


@clause("neither holds the other's waist from behind")
def waists_free(m: Measures) -> np.ndarray:
    return ~_waist_from_behind(m) & ~under(_waist_from_behind(m))


@clause("neither hangs on with the legs")
def nobody_hangs_on(m: Measures) -> np.ndarray:
    return ~m.trunk_caught & ~under(m.trunk_caught)


@clause("{top} is on the knees with the hands at {under}'s legs")
def shoots_from_the_knees(m: Measures) -> np.ndarray:
    return turned_in(m) & (m.hand_to_leg < 0.5)


@clause("{under} stands or sprawls")
def under_stands_or_sprawls(m: Measures) -> np.ndarray:
    return under(on_feet(m) | sprawled(m))


def attack(m: Measures) -> np.ndarray:
    """How much somebody is the one who brings the other down: hands on legs, own base kept."""
    hold = 1.2 * np.clip(1.2 - m.hand_to_leg, 0, 1) + 0.4 * np.clip(1.2 - m.hand_to_trunk, 0, 1)
    base = 0.5 * (m.feet_down + m.knees_down > 0) - 0.4 * np.clip(m.lowest, 0, 2)
    return hold + base


@clause("{top} has hold of the legs or the better base of the two")
def top_brings_down(m: Measures) -> np.ndarray:
    return attack(m) > under(attack(m))
