"""Between our poses and MuJoCo's state: exact one way, fitted back the other."""

from __future__ import annotations

import numpy as np
from scipy.spatial.transform import Rotation

from ..joints import HIGH, LOW
from ..pose import BodyPose, PosedPair
from .model import PairModel, Skeleton


def hinge_angles(skeleton: Skeleton, joints: np.ndarray) -> np.ndarray:
    """Return the angle of every hinge, (H,) radians, for joint angles (J,)."""
    return np.array([hinge.weight * joints[hinge.joint] for hinge in skeleton.hinges])


def state_of(model: PairModel, pair: PosedPair) -> np.ndarray:
    """Return MuJoCo's ``qpos`` for a pair; its forward kinematics are those of `Person.fk`."""
    parts = []
    for skeleton, body in zip(model.skeletons, pair.bodies, strict=True):
        turn = Rotation.from_matrix(body.rotation).as_quat(scalar_first=True)
        parts += [body.translation.astype(float), turn, hinge_angles(skeleton, body.joints)]
    return np.concatenate(parts)


def pair_of(model: PairModel, qpos: np.ndarray, pair: PosedPair) -> PosedPair:
    """Return a simulated state as a pair.

    A joint that several hinges share takes their sum; what the hinges do unlike their shares is
    lost (`docs/physics.md` says how much). Fingers stay as in `pair`. Angles past the limits, by
    a few degrees under load, are cut.

    Parameters
    ----------
    model : PairModel
    qpos : ndarray
    pair : PosedPair
        Where the simulation began: who, and the fingers.
    """
    bodies = tuple(
        _body_of(skeleton, qpos[start:], body)
        for skeleton, start, body in zip(model.skeletons, model.starts, pair.bodies, strict=True)
    )
    return PosedPair(pair.template, pair.position, pair.top, (bodies[0], bodies[1]), pair.mirrored)


def _body_of(skeleton: Skeleton, qpos: np.ndarray, body: BodyPose) -> BodyPose:
    joints = body.joints.astype(float).copy()
    total, weight = np.zeros(len(joints)), np.zeros(len(joints))
    for hinge, angle in zip(skeleton.hinges, qpos[7:], strict=False):
        total[hinge.joint] += np.sign(hinge.weight) * angle
        weight[hinge.joint] += abs(hinge.weight)
    moved = weight > 0
    joints[moved] = total[moved] / weight[moved]
    return BodyPose(
        body.person,
        np.clip(joints, LOW, HIGH).astype(np.float32),
        Rotation.from_quat(qpos[3:7], scalar_first=True).as_matrix().astype(np.float32),
        qpos[:3].astype(np.float32),
    )
