"""Joints of posed bodies, as the judge of positions takes them; no mesh is needed."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from .body import Person
from .pairs_file import Pairs

_BONES = {
    "head": "head", "neck": "neck01", "shoulder": "upperarm01", "elbow": "lowerarm01",
    "wrist": "wrist", "hip": "upperleg01", "knee": "lowerleg01", "ankle": "foot",
}  # fmt: skip
_HEAD_UP = 0.6
"""The joint of the head lies where the neck meets the skull; its middle is so much further on."""


def pose_joints(
    person: Person, joints: np.ndarray, rotation: np.ndarray, translation: np.ndarray
) -> np.ndarray:
    """Return where joints are.

    Parameters
    ----------
    person : Person
    joints : ndarray, (N, J)
        Radians.
    rotation : ndarray, (N, 3, 3)
    translation : ndarray, (N, 3)

    Returns
    -------
    ndarray, float32, (N, 14, 3)
        Metres, in the order of `pipeline.positions.judging.POSE_JOINTS`.
    """
    from pipeline.positions.judging import POSE_JOINTS

    heads = person.fk(joints, rotation, translation).head
    rows = [person.topology.bone_index[_bone(name)] for name in POSE_JOINTS]
    found = heads[:, rows].astype(np.float32)
    neck, head = POSE_JOINTS.index("neck"), POSE_JOINTS.index("head")
    found[:, head] += _HEAD_UP * (found[:, head] - found[:, neck])
    return found


def _bone(joint: str) -> str:
    side, _, name = joint.rpartition("_")
    return f"{_BONES[name]}.{side.upper()}" if side else _BONES[name]


def pair_joints(pairs: Pairs, people: Sequence[Person]) -> np.ndarray:
    """Return the joints of solved pairs, float32 (N, 2, 14, 3) metres."""
    found = np.zeros((len(pairs), 2, 14, 3), np.float32)
    for body in (0, 1):
        for person in np.unique(pairs.person[:, body]):
            rows = np.flatnonzero(pairs.person[:, body] == person)
            pose = pairs.joints[rows, body], pairs.rotation[rows, body]
            found[rows, body] = pose_joints(
                people[int(person)], *pose, pairs.translation[rows, body]
            )
    return found
