"""The joints a pose is given by, the bones between them, and how thick they are."""

from __future__ import annotations

POSE_JOINTS: tuple[str, ...] = (
    "head", "neck", "l_shoulder", "r_shoulder", "l_elbow", "r_elbow", "l_wrist", "r_wrist",
    "l_hip", "r_hip", "l_knee", "r_knee", "l_ankle", "r_ankle",
)  # fmt: skip
"""Joints that a pose is given by."""

HEAD, NECK = 0, 1
SHOULDERS, ELBOWS, WRISTS, HIPS, KNEES, ANKLES = (slice(k, k + 2) for k in range(2, 14, 2))

MID_HIP, MID_SHOULDER = 14, 15
"""Rows that `measures` appends: the middles of hips and shoulders."""

BONES: tuple[tuple[int, int], ...] = (
    (2, 4), (4, 6), (3, 5), (5, 7),
    (8, 10), (10, 12), (9, 11), (11, 13),
    (MID_HIP, MID_SHOULDER), (MID_SHOULDER, HEAD),
)  # fmt: skip
"""Arms, legs (left thigh and shank, then right), trunk, neck with head."""

ARM_BONES, LEG_BONES = ([0, 1], [2, 3]), ([4, 5], [6, 7])
"""Rows of `BONES`: upper arm and forearm, thigh and shank; left, then right."""
TRUNK_BONE, HEAD_BONE = 8, 9

RADII: tuple[float, ...] = (0.10, 0.08, 0.10, 0.08, 0.16, 0.11, 0.16, 0.11, 0.25, 0.17)
"""Of each bone, trunk lengths (hips to shoulders, about half a metre); means of our bodies."""
