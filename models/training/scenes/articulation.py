"""Which bone turns about which axis for which joint: one table that NumPy and PyTorch share.

Every bone turns about up to three axes in a row; the angle about each axis is a weighted sum of
joints. The rest shape faces −y with z up and its left at +x.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .joints import JOINT_INDEX, JOINT_NAMES

_X, _Y, _Z = np.eye(3)

# Share of the whole bend that each vertebral bone takes; sums to 1.
_SPINE = {"spine05": 0.15, "spine04": 0.20, "spine03": 0.25, "spine02": 0.25, "spine01": 0.15}
_NECK = {"neck01": 0.30, "neck02": 0.20, "neck03": 0.25, "head": 0.25}
_FINGER_BONES = tuple(f"finger{f}-{knuckle}" for f in range(2, 6) for knuckle in (1, 2, 3))


@dataclass(frozen=True)
class Articulation:
    """How joints turn bones.

    Attributes
    ----------
    axes : ndarray, float32, (J, 3, 3)
        Up to three unit axes a bone, turned about in this order, in the rest shape's frame.
    mix : ndarray, float32, (joints, J, 3)
        Angle about each axis = joints @ mix.
    """

    axes: np.ndarray
    mix: np.ndarray


def _unit(v: np.ndarray) -> np.ndarray:
    return v / np.linalg.norm(v)


def _finger_axis(at: dict[str, np.ndarray], side: str) -> np.ndarray:
    """Across the palm, signed so that a positive turn curls towards the thumb's side."""
    axis = _unit(at[f"finger2-1.{side}"] - at[f"finger5-1.{side}"])
    along = at[f"finger3-3.{side}"] - at[f"finger3-1.{side}"]
    thumb = at[f"finger1-3.{side}"] - at[f"finger3-1.{side}"]
    return axis if np.cross(axis, along) @ thumb >= 0 else -axis


def articulate(bones: Sequence[str], heads: np.ndarray) -> Articulation:
    """Lay out the axes of a body.

    Parameters
    ----------
    bones : sequence of str
    heads : ndarray, (J, 3)
        Rest positions of the bones' heads in metres.

    Returns
    -------
    Articulation
    """
    index = {name: i for i, name in enumerate(bones)}
    at = {name: np.asarray(heads[i], float) for i, name in enumerate(bones)}
    axes = np.tile(_Z, (len(bones), 3, 1)).astype(np.float32)
    mix = np.zeros((len(JOINT_NAMES), len(bones), 3), np.float32)

    def turn(bone: str, *terms: tuple[np.ndarray, str, float]) -> None:
        for slot, (axis, joint, weight) in enumerate(terms):
            axes[index[bone], slot] = axis
            mix[JOINT_INDEX[joint], index[bone], slot] = weight

    for chain, prefix in ((_SPINE, "spine"), (_NECK, "neck")):
        for bone, share in chain.items():
            turn(
                bone,
                (_X, f"{prefix}_flex", share),
                (_Y, f"{prefix}_lat", share),
                (_Z, f"{prefix}_tw", share),
            )

    for side, sign in (("L", 1.0), ("R", -1.0)):

        def joint(name: str, side: str = side) -> str:
            return f"{name}.{side}"

        elbow, wrist = at[joint("lowerarm01")], at[joint("wrist")]
        upper_arm = _unit(elbow - at[joint("upperarm01")])
        forearm = _unit(wrist - elbow)
        hinge = _unit(np.cross(upper_arm, forearm))
        turn(joint("upperleg01"), (_X, joint("hip_flex"), -1.0), (_Y, joint("hip_abd"), -sign))
        turn(joint("upperleg02"), (_Z, joint("hip_tw"), sign))
        turn(joint("lowerleg01"), (_X, joint("knee"), 1.0), (_Z, joint("knee_tw"), sign))
        turn(joint("foot"), (_X, joint("ank"), -1.0), (_Y, joint("ank_inv"), sign))
        turn(joint("clavicle"), (_Y, joint("clav_up"), -sign), (_Z, joint("clav_fw"), -sign))
        turn(joint("upperarm01"), (_Z, joint("sh_fw"), -sign), (_Y, joint("sh_up"), -sign))
        turn(joint("upperarm02"), (upper_arm, joint("sh_tw"), sign))
        turn(joint("lowerarm01"), (hinge, joint("elb"), 1.0))
        turn(joint("lowerarm02"), (forearm, joint("fore_tw"), 0.6 * sign))
        turn(
            joint("wrist"), (forearm, joint("fore_tw"), 0.4 * sign), (hinge, joint("wr_flex"), 1.0)
        )
        curl = _finger_axis(at, side)
        for bone in _FINGER_BONES:
            turn(joint(bone), (curl, joint("grip"), 1.0))
    return Articulation(axes, mix)


def cross_matrices(axes: np.ndarray) -> np.ndarray:
    """Return the cross-product matrices of unit axes, for Rodrigues' formula.

    Parameters
    ----------
    axes : ndarray, (..., 3)

    Returns
    -------
    ndarray, (..., 3, 3)
    """
    out = np.zeros((*axes.shape, 3), axes.dtype)
    x, y, z = np.moveaxis(axes, -1, 0)
    out[..., 0, 1], out[..., 0, 2] = -z, y
    out[..., 1, 0], out[..., 1, 2] = z, -x
    out[..., 2, 0], out[..., 2, 1] = -y, x
    return out
