"""A posed pair: the one thing that solver, motion and renderer hand to each other."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np


@dataclass(frozen=True)
class BodyPose:
    """One body's pose.

    Attributes
    ----------
    person : int
        Index into the cast (`models.training.scenes.body.cast`).
    joints : ndarray, float32, (J,)
        Joint angles in radians, order of `models.training.scenes.body.JOINTS`.
    rotation : ndarray, float32, (3, 3)
        Of the pelvis; columns are the body's axes in the world. World: z up, metres, mat at 0.
    translation : ndarray, float32, (3,)
        Of the pelvis joint, metres.
    """

    person: int
    joints: np.ndarray
    rotation: np.ndarray
    translation: np.ndarray


@dataclass(frozen=True)
class PosedPair:
    """Two bodies in one moment.

    Attributes
    ----------
    template : str
        Name of the template, or of the transition, it came from.
    position : str
        Coarse position key; ``""`` where it is none of them.
    top : {"A", "B", None}
        Which of ``bodies`` (A first) is on top.
    bodies : tuple of two BodyPose
    mirrored : bool
        Whether left and right were exchanged.
    """

    template: str
    position: str
    top: Literal["A", "B"] | None
    bodies: tuple[BodyPose, BodyPose]
    mirrored: bool = False

    def shifted(self, by: np.ndarray) -> PosedPair:
        """Return the pair moved by (x, y, z) metres."""
        first, second = (replace(b, translation=b.translation + by) for b in self.bodies)
        return replace(self, bodies=(first, second))
