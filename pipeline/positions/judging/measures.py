"""What the rules look at, measured on two skeletons in space.

Lengths are in trunk lengths (hips to shoulders, the mean of both athletes), heights are over the
mat. Every measure is an array (N, 2): column 0 is about athlete A and what A does to B, column 1
about B.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.positions.judging.shapes import Trunk, crosses_triangle, dot, nearest, trunk_of, unit
from pipeline.positions.judging.skeleton import (
    ANKLES,
    ARM_BONES,
    BONES,
    HEAD,
    HEAD_BONE,
    HIPS,
    KNEES,
    LEG_BONES,
    RADII,
    SHOULDERS,
    TRUNK_BONE,
    WRISTS,
)

FOOT_DOWN, KNEE_DOWN = 0.40, 0.36
"""Heights of ankle and knee below which foot or knee rests on the mat."""
_BETWEEN_LEG, _BETWEEN_TRUNK = 0.55, 0.85
"""How near both legs must be to what they have between them: bone to bone."""
_OPPOSITE = -0.1
"""Cosine between the directions to both legs, below which they lie on opposite sides."""


@dataclass(frozen=True)
class Measures:
    """All measures of N pairs, each (N, 2); ``x[:, i]`` is about athlete i.

    Attributes
    ----------
    upright : cosine of the trunk to the vertical: 1 sits or stands, 0 lies, −1 is head down
    faces_up : 1 on the back, 0 on a side, −1 face down
    hip, shoulder, head, knee, ankle : heights; of knees and ankles the lower one
    knee_high, ankle_high : heights of the higher one
    lowest : height of the lowest joint
    feet_down, knees_down : how many rest on the mat
    stretch : distance from hip to ankle of the more bent leg; about 1.7 when straight
    legs_caught : how many legs of the other are between the own legs, or pass through their loop
    trunk_caught : whether the other's trunk is between the own legs
    head_caught, arms_caught : whether the other's head, how many of the arms
    ankles_apart : distance between the own ankles
    crossed : whether one own shank lies over the other, or the ankle in the bend of the knee
    hips_along, hips_aside, hips_ahead : the own hips in the frame of the other's trunk: 0 at the
        hips to 1 at the shoulders; off the middle; in front of the belly
    chest_along, chest_aside, chest_ahead : the own chest, likewise, from the other's chest
    knees_astride : whether the own knees are on either side of the other's trunk
    hooks : how many own feet, or shins, reach round in front of the other's hips
    knees_on : how many own knees are on the other's trunk
    feet_behind : how many own feet are behind the other's trunk
    knees_between : how many own knees are between the trunks
    legs_before : how many own legs are in front of the other's trunk
    hand_to_leg, hand_to_trunk : distance of the own hands to the other's legs; trunk
    same_way : cosine between the trunks: 1 heads the same way, −1 head to foot
    facing : cosine between the fronts: −1 chest to chest, 1 chest to back
    gap, trunk_gap : clear space between the bodies, between the trunks' middles
    legs_gap : clear space between the own legs and the other's body
    hips_apart, chests_apart : distances
    """

    upright: np.ndarray
    faces_up: np.ndarray
    hip: np.ndarray
    shoulder: np.ndarray
    head: np.ndarray
    knee: np.ndarray
    knee_high: np.ndarray
    ankle: np.ndarray
    ankle_high: np.ndarray
    lowest: np.ndarray
    feet_down: np.ndarray
    knees_down: np.ndarray
    stretch: np.ndarray
    legs_caught: np.ndarray
    trunk_caught: np.ndarray
    head_caught: np.ndarray
    arms_caught: np.ndarray
    ankles_apart: np.ndarray
    crossed: np.ndarray
    hips_along: np.ndarray
    hips_aside: np.ndarray
    hips_ahead: np.ndarray
    chest_along: np.ndarray
    chest_aside: np.ndarray
    chest_ahead: np.ndarray
    knees_astride: np.ndarray
    hooks: np.ndarray
    knees_on: np.ndarray
    feet_behind: np.ndarray
    knees_between: np.ndarray
    legs_before: np.ndarray
    hand_to_leg: np.ndarray
    hand_to_trunk: np.ndarray
    same_way: np.ndarray
    facing: np.ndarray
    gap: np.ndarray
    trunk_gap: np.ndarray
    legs_gap: np.ndarray
    hips_apart: np.ndarray
    chests_apart: np.ndarray


def measure(poses: np.ndarray) -> Measures:
    """Measure pairs.

    Parameters
    ----------
    poses : ndarray, (N, 2, 14, 3)
        Metres, z up, the mat at 0; in the order of `POSE_JOINTS`.
    """
    joints = _in_trunk_lengths(np.asarray(poses, np.float64))
    trunk = trunk_of(joints)
    other = Trunk(*(part[:, ::-1] for part in trunk))
    first, last = (joints[:, :, [bone[end] for bone in BONES]] for end in (0, 1))
    towards = _towards(first, last)
    gaps = np.linalg.norm(towards, axis=-1)
    clear = gaps - np.add.outer(RADII, RADII)
    through = _through_loop(joints, first[:, ::-1], last[:, ::-1])
    knees, ankles = _beside(joints[:, :, KNEES], other), _beside(joints[:, :, ANKLES], other)
    hips = _beside(trunk.hip[:, :, None], other)[:, :, 0]
    chest = _beside(trunk.chest[:, :, None], other)[:, :, 0]
    caught = np.stack([_between(towards, leg, _BETWEEN_LEG) | through[..., leg].any(-1)
                       for leg in LEG_BONES], -1)  # fmt: skip
    arms = np.stack([_between(towards, arm, _BETWEEN_LEG) | through[..., arm].any(-1)
                     for arm in ARM_BONES], -1)  # fmt: skip
    legs = [row for leg in LEG_BONES for row in leg]
    wrist_to = _wrist_gaps(joints, first[:, ::-1], last[:, ::-1])
    return Measures(
        upright=trunk.up[..., 2],
        faces_up=trunk.front[..., 2],
        hip=trunk.hip[..., 2],
        shoulder=trunk.shoulder[..., 2],
        head=joints[:, :, HEAD, 2],
        knee=joints[:, :, KNEES, 2].min(-1),
        knee_high=joints[:, :, KNEES, 2].max(-1),
        ankle=joints[:, :, ANKLES, 2].min(-1),
        ankle_high=joints[:, :, ANKLES, 2].max(-1),
        lowest=joints[..., 2].min(-1),
        feet_down=(joints[:, :, ANKLES, 2] < FOOT_DOWN).sum(-1),
        knees_down=(joints[:, :, KNEES, 2] < KNEE_DOWN).sum(-1),
        stretch=np.linalg.norm(joints[:, :, HIPS] - joints[:, :, ANKLES], axis=-1).min(-1),
        legs_caught=caught.sum(-1),
        trunk_caught=_between(towards, [TRUNK_BONE], _BETWEEN_TRUNK) | through[..., TRUNK_BONE],
        head_caught=_between(towards, [HEAD_BONE], _BETWEEN_TRUNK) | through[..., HEAD_BONE],
        arms_caught=arms.sum(-1),
        ankles_apart=np.linalg.norm(joints[:, :, 12] - joints[:, :, 13], axis=-1),
        crossed=_crossed(joints),
        hips_along=hips[..., 0],
        hips_aside=np.abs(hips[..., 1]),
        hips_ahead=hips[..., 2],
        chest_along=chest[..., 0] - 0.67,
        chest_aside=np.abs(chest[..., 1]),
        chest_ahead=chest[..., 2],
        knees_astride=_astride(knees),
        hooks=_hooks(knees, ankles),
        knees_on=_knees_on(knees),
        feet_behind=_behind(ankles),
        knees_between=_between_trunks(knees),
        legs_before=(_before(knees) | _before(ankles)).sum(-1),
        hand_to_leg=wrist_to[..., legs].min(-1),
        hand_to_trunk=wrist_to[..., TRUNK_BONE],
        same_way=_both(dot(trunk.up[:, 0], trunk.up[:, 1])),
        facing=_both(dot(trunk.front[:, 0], trunk.front[:, 1])),
        gap=clear.min((-1, -2)),
        trunk_gap=gaps[..., TRUNK_BONE, TRUNK_BONE],
        legs_gap=clear[:, :, legs].min((-1, -2)),
        hips_apart=_both(np.linalg.norm(trunk.hip[:, 0] - trunk.hip[:, 1], axis=-1)),
        chests_apart=_both(np.linalg.norm(trunk.chest[:, 0] - trunk.chest[:, 1], axis=-1)),
    )


def _in_trunk_lengths(joints: np.ndarray) -> np.ndarray:
    """Append the middles of hips and shoulders; scale by the mean trunk."""
    hip, shoulder = joints[:, :, HIPS].mean(2), joints[:, :, SHOULDERS].mean(2)
    length = np.linalg.norm(shoulder - hip, axis=-1).mean(1)
    joints = np.concatenate([joints, hip[:, :, None], shoulder[:, :, None]], 2)
    return joints / np.maximum(length, 1e-6)[:, None, None, None]


def _both(value: np.ndarray) -> np.ndarray:
    return np.stack([value, value], 1)


def _towards(first: np.ndarray, last: np.ndarray) -> np.ndarray:
    """Vectors from each own bone to each of the other's, (N, 2, own, other, 3)."""
    a, b = first[:, 0, :, None], last[:, 0, :, None]
    from_a = nearest(a, b, first[:, 1, None], last[:, 1, None])
    return np.stack([from_a, -from_a.swapaxes(1, 2)], 1)


def _between(towards: np.ndarray, bones: list[int], reach: float) -> np.ndarray:
    """Whether bones of the other are between the own legs, touched from opposite sides."""
    ways, near = [], np.ones(towards.shape[:2], bool)
    for leg in LEG_BONES:
        found = towards[:, :, leg][:, :, :, bones].reshape(*towards.shape[:2], -1, 3)
        gap = np.linalg.norm(found, axis=-1)
        best = gap.argmin(-1)[..., None]
        near &= np.take_along_axis(gap, best, -1)[..., 0] < reach
        ways.append(unit(np.take_along_axis(found, best[..., None], 2)[:, :, 0]))
    return near & (dot(ways[0], ways[1]) < _OPPOSITE)


def _through_loop(joints: np.ndarray, first: np.ndarray, last: np.ndarray) -> np.ndarray:
    """Which bones of the other pass through the loop of the own legs, bool (N, 2, bones).

    The loop runs from hip to knee to ankle, across to the other ankle, and back up.
    """
    hip_l, hip_r, knee_l, knee_r, ankle_l, ankle_r = (
        joints[:, :, row, None] for row in range(HIPS.start, ANKLES.stop)
    )
    crossings = []
    for corners in ((hip_l, hip_r, knee_r, knee_l), (knee_l, knee_r, ankle_r, ankle_l)):
        middle = np.mean(corners, axis=0)  # a fan round the middle is its own mirror image
        for start, end in zip(corners, corners[1:] + corners[:1], strict=True):
            crossings.append(crosses_triangle(first, last, start, end, middle))
    return np.sum(crossings, 0) % 2 == 1


def _crossed(joints: np.ndarray) -> np.ndarray:
    """Whether the own shanks touch each other below the knees: crossed feet or a triangle."""
    left, right = (nearest(joints[:, :, 10 + s], joints[:, :, 12 + s],
                           joints[:, :, 11 - s], joints[:, :, 13 - s]) for s in (0, 1))  # fmt: skip
    return np.minimum(np.linalg.norm(left, axis=-1), np.linalg.norm(right, axis=-1)) < 0.30


def _beside(points: np.ndarray, other: Trunk) -> np.ndarray:
    """Own points (N, 2, n, 3) in the frame of the other's trunk: along, left, ahead."""
    away = points - other.hip[:, :, None]
    along = dot(away, other.up[:, :, None]) / np.maximum(other.length, 1e-6)[:, :, None]
    return np.stack(
        [along, dot(away, other.left[:, :, None]), dot(away, other.front[:, :, None])], -1
    )


def _astride(knees: np.ndarray) -> np.ndarray:
    along, left = knees[..., 0], knees[..., 1]
    apart = (left.prod(-1) < 0) & (np.abs(left).min(-1) > 0.08)
    return apart & (along > -0.55).all(-1) & (along < 1.8).all(-1)


def _hooks(knees: np.ndarray, ankles: np.ndarray) -> np.ndarray:
    def ahead(points: np.ndarray, low: float, high: float, wide: float) -> np.ndarray:
        along, left, front = np.moveaxis(points, -1, 0)
        return (front > 0) & (along > low) & (along < high) & (np.abs(left) < wide)

    return (ahead(ankles, -1.25, 0.8, 0.9) | ahead(knees, -0.8, 1.0, 0.7)).sum(-1)


def _knees_on(knees: np.ndarray) -> np.ndarray:
    along, left, front = np.moveaxis(knees, -1, 0)
    on = (along > -0.2) & (along < 1.05) & (np.abs(left) < 0.42) & (front > 0) & (front < 0.75)
    return on.sum(-1)


def _behind(ankles: np.ndarray) -> np.ndarray:
    along, left, front = np.moveaxis(ankles, -1, 0)
    return ((front < 0.1) & (along > -0.6) & (along < 1.6) & (np.abs(left) < 1.1)).sum(-1)


def _between_trunks(knees: np.ndarray) -> np.ndarray:
    along, left, front = np.moveaxis(knees, -1, 0)
    within = (along > -0.1) & (along < 1.0) & (np.abs(left) < 0.35)
    return (within & (front > 0) & (front < 0.7)).sum(-1)


def _before(points: np.ndarray) -> np.ndarray:
    along, left, front = np.moveaxis(points, -1, 0)
    return (front > 0) & (front < 1.2) & (np.abs(left) < 0.6) & (along > -0.4) & (along < 1.3)


def _wrist_gaps(joints: np.ndarray, first: np.ndarray, last: np.ndarray) -> np.ndarray:
    """Distance of the nearer own wrist to each bone of the other, (N, 2, bones)."""
    wrists = joints[:, :, WRISTS, None]
    ways = nearest(wrists, wrists, first[:, :, None], last[:, :, None])
    return np.linalg.norm(ways, axis=-1).min(2)
