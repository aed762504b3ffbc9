"""Poses around the solved ones: limbs moved, bodies on their way elsewhere, pairs tumbling.

A solved pair is exact, but it is one of few, and each is rendered many times. Real bodies are
seldom exactly in a position. What is drawn here touches less exactly; a draw in which the bodies
pass much deeper into each other than in the solved pair is drawn again, nearer to it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial.transform import Rotation, Slerp

from .figures import Figure
from .joints import HIGH, JOINT_NAMES, LOW
from .pose import BodyPose, PosedPair
from .truth import gap

TRIES = 5
GIVES_M = 0.035
"""How much deeper than the solved pair's the balls of two bodies may pass into each other."""

_SPAN = HIGH - LOW
_ARM = ("clav", "sh_", "elb", "fore", "wr_", "grip")


def _part(name: str) -> str:
    """Name the part of the body that a joint moves: spine, neck, armL, armR, legL or legR."""
    stem, _, side = name.partition(".")
    if not side:
        return stem.split("_")[0]
    return ("arm" if stem.startswith(_ARM) else "leg") + side


_PART_OF = np.array([_part(name) for name in JOINT_NAMES])
_PARTS: tuple[str, ...] = tuple(dict.fromkeys(_PART_OF.tolist()))


@dataclass(frozen=True)
class Shares:
    """How often a pair is varied, and how; the rest stays as solved.

    Attributes
    ----------
    moved : float
        Limbs moved, both trunks a little.
    between : float
        One or both athletes on the way to another pair's pose.
    met : float
        Athletes of two pairs laid into each other.
    tumbling : float
        Of all, on top of that: the whole pair turned over, on the mat or in the air.
    """

    moved: float = 0.45
    between: float = 0.20
    met: float = 0.08
    tumbling: float = 0.10


class Variety:
    """Draws poses around solved pairs.

    Parameters
    ----------
    figures : sequence of Figure
        Of the cast.
    matrices : callable
        Bone matrices, (J, 3, 4), of a `BodyPose`.
    shares : Shares
    """

    def __init__(
        self,
        figures: Sequence[Figure],
        matrices: Callable[[BodyPose], np.ndarray],
        shares: Shares = Shares(),
    ) -> None:
        self._figures, self._matrices, self._shares = figures, matrices, shares

    def draw(self, rng: np.random.Generator, pair: PosedPair, other: PosedPair) -> PosedPair:
        """Draw a pose.

        Parameters
        ----------
        rng : numpy Generator
        pair, other : PosedPair
            Where to start, and where an athlete may be heading.

        Returns
        -------
        PosedPair
            `pair` itself at times. Where the template no longer says what it is, its position is
            ``""`` and nobody is on top.
        """
        chosen, turned = rng.random(2)
        varied = pair
        for change, share in (
            (moved, self._shares.moved),
            (between, self._shares.between),
            (met, self._shares.met),
        ):
            if 0 <= chosen < share:
                varied = self._possible(rng, pair, other, change)
            chosen -= share
        if turned < self._shares.tumbling:
            in_the_air = rng.uniform(0, 0.8) if rng.random() < 0.5 else 0.0
            return self._lay_down(tumbled(rng, varied), in_the_air)
        return varied if varied is pair else self._lay_down(varied)

    def _possible(
        self, rng: np.random.Generator, pair: PosedPair, other: PosedPair, change: Change
    ) -> PosedPair:
        allowed = self._depth(pair) + GIVES_M
        for attempt in range(TRIES):
            tried = change(rng, pair, other, 1 - attempt / TRIES)
            if self._depth(tried) <= allowed:
                return tried
        return pair

    def _depth(self, pair: PosedPair) -> float:
        """How deep the balls that fill two bodies pass into each other, metres."""
        balls = [self._figures[b.person].posed_balls(self._matrices(b)) for b in pair.bodies]
        return -gap(balls)

    def _lay_down(self, pair: PosedPair, height_m: float = 0.0) -> PosedPair:
        """Move a pair up or down until its lowest point is so high over the mat."""
        lowest = min(self._figures[b.person].lowest(self._matrices(b)) for b in pair.bodies)
        return pair.shifted(np.array([0, 0, height_m - lowest], np.float32))


Change = Callable[[np.random.Generator, PosedPair, PosedPair, float], PosedPair]
"""What makes one pair of another, given a second pair and a strength 0–1."""


def moved(
    rng: np.random.Generator, pair: PosedPair, other: PosedPair, strength: float
) -> PosedPair:
    """Move some limbs of both athletes, and their trunks a little; what it shows stays."""
    first, second = (_stir(rng, body, strength) for body in pair.bodies)
    return replace(pair, bodies=(first, second))


def between(
    rng: np.random.Generator, pair: PosedPair, other: PosedPair, strength: float
) -> PosedPair:
    """Take one athlete, or both, part of the way to another pair's pose."""
    far = strength * rng.uniform(0.15, 0.85)
    who = rng.choice(3)
    bodies = [
        _towards(body, goal, far if who in (i, 2) else 0.0)
        for i, (body, goal) in enumerate(zip(pair.bodies, _beside(pair, other).bodies, strict=True))
    ]
    first, second = (_stir(rng, body, 0.5 * strength) for body in bodies)
    return _unnamed(replace(pair, bodies=(first, second)))


def met(rng: np.random.Generator, pair: PosedPair, other: PosedPair, strength: float) -> PosedPair:
    """Lay another pair's second athlete, turned about the vertical, to the first athlete."""
    first, guest = pair.bodies[0], other.bodies[1]
    if guest.person == first.person:
        guest = replace(guest, person=pair.bodies[1].person)
    turn = Rotation.from_euler("z", rng.uniform(0, 2 * np.pi)).as_matrix().astype(np.float32)
    away = (0.9 - 0.5 * strength) * turn @ np.array([1, 0, 0], np.float32)
    place = np.array([*(first.translation + away)[:2], guest.translation[2]], np.float32)
    guest = replace(guest, rotation=turn @ guest.rotation, translation=place)
    return _unnamed(replace(pair, bodies=(first, _stir(rng, guest, 0.5))))


def tumbled(rng: np.random.Generator, pair: PosedPair) -> PosedPair:
    """Turn a pair over as a whole, about any axis."""
    turn = Rotation.random(random_state=rng).as_matrix().astype(np.float32)
    middle = (pair.bodies[0].translation + pair.bodies[1].translation) / 2
    first, second = (
        replace(b, rotation=turn @ b.rotation, translation=turn @ (b.translation - middle) + middle)
        for b in pair.bodies
    )
    return _unnamed(replace(pair, bodies=(first, second)))


def _stir(rng: np.random.Generator, body: BodyPose, strength: float) -> BodyPose:
    """Bend the joints of some parts by up to a few tenths of their range; turn the pelvis a bit."""
    how = strength * rng.uniform(0.3, 1.0)
    stirred = [part for part in _PARTS if rng.random() < 0.6]
    bend = rng.normal(0, 0.13, len(LOW)) * _SPAN * np.isin(_PART_OF, stirred)
    joints = np.clip(body.joints + how * bend, LOW, HIGH)
    if rng.random() < 0.15 * strength:  # one limb does something else
        elsewhere = np.isin(_PART_OF, rng.choice(_PARTS[2:]))
        joints = np.where(elsewhere, LOW + rng.beta(2, 2, len(LOW)) * _SPAN, joints)
    turn = Rotation.from_rotvec(rng.normal(0, 0.08, 3) * how).as_matrix()
    return replace(
        body,
        joints=joints.astype(np.float32),
        rotation=(turn @ body.rotation).astype(np.float32),
        translation=(body.translation + rng.normal(0, 0.025, 3) * how).astype(np.float32),
    )


def _towards(body: BodyPose, goal: BodyPose, far: float) -> BodyPose:
    """Interpolate one body's pose towards another's."""
    turns = Rotation.from_matrix(np.stack([body.rotation, goal.rotation]))
    return replace(
        body,
        joints=((1 - far) * body.joints + far * goal.joints).astype(np.float32),
        rotation=Slerp([0, 1], turns)(far).as_matrix().astype(np.float32),
        translation=((1 - far) * body.translation + far * goal.translation).astype(np.float32),
    )


def _beside(pair: PosedPair, other: PosedPair) -> PosedPair:
    """Put another pair where a pair is on the mat."""
    here, there = (np.mean([b.translation for b in p.bodies], 0) for p in (pair, other))
    return other.shifted(np.array([*(here - there)[:2], 0], np.float32))


def _unnamed(pair: PosedPair) -> PosedPair:
    return replace(pair, position="", top=None)
