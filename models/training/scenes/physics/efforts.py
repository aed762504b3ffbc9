"""What athletes want: the poses their muscles pull towards, and how hard.

An effort is drawn for each athlete by itself, so that the two want different things. What balance
and a push off the mat would do is a limited force and torque on the pelvis; a limp athlete has
none.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.spatial.transform import Rotation

from ..joints import HIGH, JOINT_INDEX, LOW
from ..pose import BodyPose

ON_FEET_M = 0.55
"""A pelvis above this is held up by legs."""
_SPAN = HIGH - LOW

# Joint angles of a base, in degrees, both sides alike; common practice, no source.
_BASES: dict[str, tuple[dict[str, float], float]] = {
    "to the knees": ({"hip_flex": 75, "knee": 95, "ank": -20, "spine_flex": 20}, 0.45),
    "bridge": ({"hip_flex": -5, "knee": 100, "spine_flex": -15, "neck_flex": -30}, 0.42),
    "stand up": ({"hip_flex": 35, "knee": 45, "spine_flex": 15, "hip_abd": 12}, 0.78),
    "curl up": ({"hip_flex": 120, "knee": 120, "spine_flex": 50, "neck_flex": 35}, 0.20),
    "stretch out": ({"hip_flex": 0, "knee": 15, "spine_flex": 0}, 0.15),
}


@dataclass(frozen=True, eq=False)
class Effort:
    """What one athlete does for a while.

    Attributes
    ----------
    kind : str
    joints : ndarray, (J,)
        Where muscles pull, radians.
    rotation : ndarray, (3, 3), or None
        Where the pelvis is to turn; None lets it turn as it will.
    place : ndarray, (3,), or None
        Where it is to go, metres.
    reach_s : float
        How long it takes until muscles pull all the way.
    strength : float
        1 is strong, 0 limp.
    drive : float
        Greatest force on the pelvis over the body's weight.
    push : ndarray, (3,)
        Force on the chest, newtons, in the first fifth of a second.
    """

    kind: str
    joints: np.ndarray
    rotation: np.ndarray | None = None
    place: np.ndarray | None = None
    reach_s: float = 0.5
    strength: float = 0.6
    drive: float = 0.0
    push: np.ndarray = field(default_factory=lambda: np.zeros(3))


def hold(body: BodyPose, strength: float = 0.8) -> Effort:
    """Stay as one is; on one's feet, keep one's balance."""
    standing = body.translation[2] > ON_FEET_M
    return Effort(
        "hold", body.joints, body.rotation, body.translation,
        strength=strength, drive=0.5 if standing else 0.15,
    )  # fmt: skip


def limp(body: BodyPose) -> Effort:
    """Give in."""
    return Effort("limp", body.joints, strength=0.05)


def towards(body: BodyPose, goal: BodyPose, strength: float, reach_s: float) -> Effort:
    """Take up another pose, in which the pelvis is where `goal` has it."""
    return Effort(
        "towards", goal.joints, goal.rotation, goal.translation, reach_s, strength, drive=0.6
    )


def base(body: BodyPose, kind: str, strength: float, reach_s: float) -> Effort:
    """Get up to a base or down to one: a key of the table above."""
    angles, height = _BASES[kind]
    joints = body.joints.copy()
    for name, degrees in angles.items():
        for full in (name, f"{name}.L", f"{name}.R"):
            if full in JOINT_INDEX:
                joints[JOINT_INDEX[full]] = np.radians(degrees)
    place = np.array([*body.translation[:2], height])
    upright = kind in ("to the knees", "stand up")
    rotation = _upright(body.rotation) if upright else None
    return Effort(kind, joints, rotation, place, reach_s, strength, drive=0.6)


def stir(rng: np.random.Generator, body: BodyPose, strength: float) -> Effort:
    """Pull some joints somewhere."""
    pulled = rng.random(len(LOW)) < rng.uniform(0.2, 0.7)
    drawn = LOW + rng.beta(2, 2, len(LOW)) * _SPAN
    far = rng.uniform(0.3, 0.9)
    joints = np.where(pulled, (1 - far) * body.joints + far * drawn, body.joints)
    turn = Rotation.from_rotvec(rng.normal(0, 0.5, 3)).as_matrix()
    place = body.translation + rng.normal(0, 0.15, 3)
    return Effort(
        "stir", joints, turn @ body.rotation, place, rng.uniform(0.15, 0.6), strength, drive=0.3
    )


def drawn(rng: np.random.Generator, body: BodyPose, goal: BodyPose) -> Effort:
    """Draw an effort of one athlete.

    Parameters
    ----------
    rng : numpy Generator
    body : BodyPose
        As it is now.
    goal : BodyPose
        Of the same athlete in another pair, placed on the mat near it.
    """
    strength, reach_s = float(rng.uniform(0.25, 1.0)), float(rng.uniform(0.2, 0.9))
    standing = body.translation[2] > ON_FEET_M
    down: tuple[str, ...] = ("curl up", "stretch out", "to the knees")
    bases = down if standing else tuple(k for k in _BASES if k != "bridge" or _supine(body))
    kinds: tuple[tuple[float, Callable[[], Effort]], ...] = (
        (0.28, lambda: hold(body, strength)),
        (0.14, lambda: limp(body)),
        (0.22, lambda: towards(body, goal, strength, reach_s)),
        (0.16, lambda: base(body, bases[int(rng.integers(len(bases)))], strength, reach_s)),
        (0.20, lambda: stir(rng, body, strength)),
    )
    share = np.array([weight for weight, _ in kinds])
    effort = kinds[int(rng.choice(len(kinds), p=share))][1]()
    if rng.random() < 0.3:
        push = rng.normal(0, 1, 3) * [1, 1, 0.4]
        effort = replace(effort, push=push / np.linalg.norm(push) * rng.uniform(80, 350))
    return effort


def _supine(body: BodyPose) -> bool:
    """Whether the belly faces up."""
    return float(-body.rotation[2, 1]) > 0.3


def _upright(rotation: np.ndarray) -> np.ndarray:
    """Turn the pelvis so that the trunk leans 30° forwards, facing as it does."""
    facing = -rotation[:, 1]
    if np.linalg.norm(facing[:2]) < 0.5:  # lying: towards the head or the feet
        facing = rotation[:, 2]
    yaw = np.arctan2(facing[0], -facing[1])
    return Rotation.from_euler("zx", [yaw, 0.5]).as_matrix()
