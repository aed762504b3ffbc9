"""The joints of a body: what each angle means, how far it goes, and its mirror image.

Angles are measured from the rest shape: standing, arms held about 45° below the horizontal,
elbows bent about 38°. Limits are therefore the handbook ranges shifted by that rest shape.

Source of the ranges: American Academy of Orthopaedic Surgeons, *Joint Motion: Method of
Measuring and Recording* (1965), values from memory: hip flexion 120, extension 30, abduction
45, adduction 30, rotation 45 both ways; knee 0–135; ankle dorsiflexion 20, plantar flexion 50;
trunk flexion 80, extension 25, side bend 35, rotation 45; neck flexion and extension 45, side
bend 45, rotation 60; elbow 0–150; forearm 80 both ways; wrist 70–80. Where grapplers reach
beyond the table passively (heel to seat when kneeling, knee to chest when stacked) the limit is
wider and says so.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Joint:
    """One angle of a body.

    Attributes
    ----------
    name : str
        ``hip_flex.L``: what moves, and the side where there are two.
    low, high : float
        Limits in degrees from the rest shape.
    meaning : str
        What a positive angle does.
    flips : bool
        Whether the angle changes sign in a mirror (side bends and twists of the midline).
    """

    name: str
    low: float
    high: float
    meaning: str
    flips: bool = False


_MIDLINE = (
    Joint("spine_flex", -20, 75, "bends the trunk forwards"),
    Joint("spine_lat", -30, 30, "bends the trunk to the right", flips=True),
    Joint("spine_tw", -35, 35, "turns the shoulders to the left", flips=True),
    Joint("neck_flex", -40, 55, "brings the chin to the chest"),
    Joint("neck_lat", -35, 35, "bends the neck to the right", flips=True),
    Joint("neck_tw", -60, 60, "turns the face to the left", flips=True),
)

_PAIRED = (
    ("hip_flex", -15, 135, "brings the knee to the chest; passively past the table's 120"),
    ("hip_abd", -25, 60, "takes the knee away from the midline; wider when the hip is flexed"),
    ("hip_tw", -45, 50, "turns the thigh outwards"),
    ("knee", 0, 150, "bends the knee; heel to seat when kneeling, past the table's 135"),
    ("knee_tw", -20, 25, "turns the shank outwards; a bent knee allows it"),
    ("ank", -45, 20, "lifts the toes; negative points them"),
    ("ank_inv", -20, 20, "turns the sole"),
    ("clav_up", -8, 25, "shrugs"),
    ("clav_fw", -12, 25, "brings the shoulder forwards"),
    ("sh_fw", -45, 140, "swings the arm forwards and across, in the horizontal plane"),
    ("sh_up", -50, 95, "lifts the arm sideways; −45 hangs, +95 is overhead with the shrug"),
    ("sh_tw", -70, 70, "turns the upper arm about itself"),
    ("elb", -38, 105, "bends the elbow; −38 is straight"),
    ("fore_tw", -75, 75, "turns the palm"),
    ("wr_flex", -50, 50, "bends the wrist"),
    ("grip", 0, 65, "closes the fingers, the same for each knuckle"),
)

JOINTS: tuple[Joint, ...] = _MIDLINE + tuple(
    Joint(f"{name}.{side}", low, high, meaning)
    for side in "LR"
    for name, low, high, meaning in _PAIRED
)
"""All angles of a body, in the order of every ``joints`` array."""

JOINT_NAMES: tuple[str, ...] = tuple(joint.name for joint in JOINTS)
JOINT_INDEX: dict[str, int] = {name: i for i, name in enumerate(JOINT_NAMES)}
LOW: np.ndarray = np.radians([joint.low for joint in JOINTS]).astype(np.float32)
HIGH: np.ndarray = np.radians([joint.high for joint in JOINTS]).astype(np.float32)


def other_side(name: str) -> str:
    """Return the name with left and right exchanged: ``"knee.L"`` → ``"knee.R"``."""
    if name.endswith(".L"):
        return name[:-1] + "R"
    if name.endswith(".R"):
        return name[:-1] + "L"
    return name


_MIRROR_ORDER = np.array([JOINT_INDEX[other_side(name)] for name in JOINT_NAMES])
_MIRROR_SIGN = np.array([-1.0 if joint.flips else 1.0 for joint in JOINTS], np.float32)


def mirror_joints(joints: np.ndarray) -> np.ndarray:
    """Return the angles of the mirrored body.

    Parameters
    ----------
    joints : ndarray, (..., J)

    Returns
    -------
    ndarray, (..., J)
    """
    return joints[..., _MIRROR_ORDER] * _MIRROR_SIGN
