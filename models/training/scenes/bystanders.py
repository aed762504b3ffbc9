"""People who are not the pair: a referee, coaches, the next pair's partners, spectators."""

from __future__ import annotations

import numpy as np

from .body import BonePose, Person
from .joints import HIGH, JOINT_INDEX, LOW

# Joint angles in degrees; a name without a side sets both sides.
_STANCES: dict[str, dict[str, float]] = {
    "standing": {"sh_up": -42, "elb": -15, "hip_abd": 4},
    "hands on hips": {"sh_up": -22, "elb": 55, "sh_tw": -25, "sh_fw": -15, "hip_abd": 6},
    "arms crossed": {"sh_up": -40, "sh_fw": 45, "elb": 70, "sh_tw": 15, "hip_abd": 4},
    "filming": {"sh_up": -20, "sh_fw": 60, "elb": 65, "neck_flex": 8},
    "leaning in": {"spine_flex": 38, "hip_flex": 40, "knee": 22, "sh_up": -30, "sh_fw": 40},
    "pointing": {"sh_up.L": 0, "sh_fw.L": 60, "elb.L": -30, "sh_up.R": -42, "hip_flex": 6},
    "walking": {"hip_flex.L": 28, "knee.L": 12, "hip_flex.R": -12, "knee.R": 18, "sh_up": -42},
    "crouching": {"hip_flex": 112, "knee": 128, "ank": 15, "spine_flex": 20, "sh_up": -35,
                  "sh_fw": 50, "hip_abd": 14},
    "one knee": {"hip_flex.L": 88, "knee.L": 92, "hip_flex.R": 4, "knee.R": 98, "ank.R": 5,
                 "sh_up": -38, "sh_fw": 35, "elb": 25},
    "kneeling": {"hip_flex": 18, "knee": 112, "ank": -42, "sh_up": -40, "sh_fw": 20},
    "sitting": {"hip_flex": 88, "knee": 82, "sh_up": -40, "sh_fw": 35, "elb": 30, "spine_flex": 12},
    "on the floor": {"hip_flex": 92, "hip_abd": 42, "hip_tw": 38, "knee": 118, "spine_flex": 25,
                     "sh_up": -40, "sh_fw": 40, "elb": 30},
    "on all fours": {"hip_flex": 85, "knee": 95, "ank": -40, "sh_fw": 70, "sh_up": -15},
}  # fmt: skip
_STANDING_SHARE = 0.62
_LOW_STANCES = ("crouching", "one knee", "kneeling", "sitting", "on the floor")
_TILT = {"on all fours": 80.0, "leaning in": 5.0}


def random_stance(rng: np.random.Generator, referee: bool = False) -> str:
    """Name of a stance; referees stand, lean in, crouch or go down on all fours."""
    if referee:
        names = ("leaning in", "standing", "crouching", "one knee", "pointing", "hands on hips",
                 "on all fours", "walking")  # fmt: skip
        return str(rng.choice(names))
    if rng.random() < _STANDING_SHARE:
        return str(rng.choice(list(_STANCES)[:7]))
    return str(rng.choice(_LOW_STANCES))


def pose_bystander(
    rng: np.random.Generator, person: Person, stance: str, place: np.ndarray, facing: float
) -> BonePose:
    """Pose one bystander, not yet lowered on to the floor.

    Parameters
    ----------
    rng : numpy Generator
        Every joint varies by some degrees.
    person : Person
    stance : str
        A key of the table of stances.
    place : ndarray, (2,)
        Metres.
    facing : float
        Direction they look, radians from +x.

    Returns
    -------
    BonePose
        Lower it by its lowest point.
    """
    joints = np.radians(rng.normal(0, 5, len(JOINT_INDEX)))
    for name, degrees in _STANCES[stance].items():
        for each in (name,) if name in JOINT_INDEX else (f"{name}.L", f"{name}.R"):
            joints[JOINT_INDEX[each]] += np.radians(degrees)
    a = facing + np.pi / 2  # at rest a body faces −y
    turn = np.array([[np.cos(a), -np.sin(a), 0], [np.sin(a), np.cos(a), 0], [0, 0, 1]])
    t = np.radians(_TILT.get(stance, 0.0))
    tilt = np.array([[1, 0, 0], [0, np.cos(t), -np.sin(t)], [0, np.sin(t), np.cos(t)]])
    at = np.array([*place, 1.0])
    return person.fk(np.clip(joints, LOW, HIGH).astype(np.float32), turn @ tilt, at)
