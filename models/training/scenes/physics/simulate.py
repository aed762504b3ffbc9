"""Two people moved by what they want, by their weight, and by each other."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import mujoco
import numpy as np
from scipy.spatial.transform import Rotation

from ..pose import PosedPair
from .efforts import Effort
from .grips import Grips
from .model import STEP_S, PairModel
from .state import hinge_angles, pair_of, state_of

TICK = 2
"""Steps between two looks at targets and grips."""
FRAME_S = 0.04
_SETTLING_S = 0.1
_FASTEST = 40.0
"""Radians or metres a second; nobody moves so."""
_DEEPEST_M = 0.09
_PUSH_S = 0.2
_GRAVITY = 9.81


class DivergedError(Exception):
    """A simulation that left what bodies can do: to be thrown away."""


@dataclass(frozen=True)
class Frame:
    """One moment of a simulation.

    Attributes
    ----------
    time : float
        Seconds.
    qpos : ndarray
    depth : float
        Deepest contact of the capsules, metres.
    past_limit : float
        How far the worst joint is past its limit, radians.
    energy : float
        Kinetic and potential, joules.
    grips : int
        How many hold.
    """

    time: float
    qpos: np.ndarray
    depth: float
    past_limit: float
    energy: float
    grips: int


class Simulation:
    """A pair in motion.

    Parameters
    ----------
    model : PairModel
        Of these two people; it is set anew, so it may have been used before.
    pair : PosedPair
        Where they begin, at rest.
    seed : int or tuple of int
        Of what is drawn: frictions, grips, how much they hold.
    gripping : float
        Chance that a hand on the other body holds on.
    """

    def __init__(
        self, model: PairModel, pair: PosedPair, seed: int | tuple[int, ...], gripping: float = 0.8
    ):
        self.rng = np.random.default_rng(seed)
        self.pair, self.model = pair, model
        mujoco.set_mju_user_warning(_quiet)
        self.data = mujoco.MjData(model.model)
        model.model.opt.enableflags |= int(mujoco.mjtEnableBit.mjENBL_ENERGY)
        model.model.geom_friction[:, 0] = self.rng.uniform(0.3, 0.7)  # skin or cloth
        model.model.geom_friction[0, 0] = self.rng.uniform(0.6, 1.1)  # the mat
        self.data.qpos[:] = state_of(model, pair)
        mujoco.mj_forward(model.model, self.data)
        self.grips = Grips(model, self.data)
        self.grips.take(self.rng, gripping)
        self._limits = model.model.jnt_range[model.model.jnt_limited.astype(bool)]
        self._limited = model.model.jnt_qposadr[model.model.jnt_limited.astype(bool)]
        mass = model.model.body_subtreemass
        self._roots = [rows[0] for rows in model.body_rows]
        self._weight = [_GRAVITY * float(mass[root]) for root in self._roots]
        self._chests = [
            rows[skeleton.person.topology.bone_index["spine02"]]
            for rows, skeleton in zip(model.body_rows, model.skeletons, strict=True)
        ]
        self._settle()

    def now(self) -> PosedPair:
        """Return the pair as it is."""
        return pair_of(self.model, self.data.qpos, self.pair)

    def run(self, efforts: tuple[Effort, Effort], seconds: float) -> Iterator[Frame]:
        """Go on for a while.

        Yields
        ------
        Frame
            Every `FRAME_S`.

        Raises
        ------
        DivergedError
            If the bodies fly apart or into each other.
        """
        self.model.set_strength((efforts[0].strength, efforts[1].strength))
        start, begun = self._targets_now(), self.data.time
        end = [
            hinge_angles(skeleton, effort.joints)
            for skeleton, effort in zip(self.model.skeletons, efforts, strict=True)
        ]
        every = round(FRAME_S / (TICK * STEP_S))
        for tick in range(round(seconds / (TICK * STEP_S))):
            since = self.data.time - begun
            parts = []
            for body, effort in enumerate(efforts):
                share = _eased(since / effort.reach_s)
                parts.append((1 - share) * start[body] + share * end[body])
                self._drive(body, effort, since)
            self.data.ctrl[:] = np.concatenate(parts)
            mujoco.mj_step(self.model.model, self.data, TICK)
            self.grips.release()
            if (tick + 1) % every == 0:
                yield self._frame()

    def _targets_now(self) -> list[np.ndarray]:
        """Angles of all hinges, by athlete."""
        return [
            self.data.qpos[first + 7 : first + 7 + len(skeleton.hinges)].copy()
            for first, skeleton in zip(self.model.starts, self.model.skeletons, strict=True)
        ]

    def _settle(self) -> None:
        """Let bodies that overlap move apart without gaining speed."""
        self.model.set_strength((1.0, 1.0))
        self.data.ctrl[:] = np.concatenate(self._targets_now())
        for _ in range(round(_SETTLING_S / STEP_S)):
            mujoco.mj_step(self.model.model, self.data)
            self.data.qvel[:] *= 0.8
        self.data.qvel[:] = 0
        self.data.time = 0.0
        self._frame()

    def _drive(self, body: int, effort: Effort, since: float) -> None:
        """Pull the pelvis where it is to go, no harder than the effort allows; push the chest."""
        data, root, weight = self.data, self._roots[body], self._weight[body]
        first = self.model.speeds[body]
        force, torque = np.zeros(3), np.zeros(3)
        ease = _eased(since / effort.reach_s)
        if effort.place is not None and effort.drive > 0:
            off = effort.place - data.xpos[root]
            wanted = weight * (4 * off - 0.8 * data.qvel[first : first + 3])
            force = ease * _at_most(wanted, effort.drive * weight)
        if effort.rotation is not None and effort.drive > 0:
            here = data.xmat[root].reshape(3, 3)
            off = Rotation.from_matrix(effort.rotation @ here.T).as_rotvec()
            turning = here @ data.qvel[first + 3 : first + 6]
            wanted = 0.25 * weight * (off - 0.2 * turning)
            torque = ease * _at_most(wanted, 0.25 * effort.drive * weight)
        data.xfrc_applied[root, :3], data.xfrc_applied[root, 3:] = force, torque
        data.xfrc_applied[self._chests[body], :3] = effort.push if since < _PUSH_S else 0

    def _frame(self) -> Frame:
        data = self.data
        depth = -min((contact.dist for contact in data.contact), default=0.0)
        unwell = data.warning[int(mujoco.mjtWarning.mjWARN_BADQACC)].number > 0
        if unwell or not np.isfinite(data.qpos).all() or np.abs(data.qvel).max() > _FASTEST:
            raise DivergedError("the bodies flew apart")
        if depth > _DEEPEST_M:
            raise DivergedError("the bodies passed into each other")
        angle = data.qpos[self._limited]
        past = np.maximum(self._limits[:, 0] - angle, angle - self._limits[:, 1]).max()
        return Frame(
            float(data.time), data.qpos.copy(), max(depth, 0.0), max(float(past), 0.0),
            float(data.energy.sum()), self.grips.held,
        )  # fmt: skip


def _eased(share: float) -> float:
    share = min(max(share, 0.0), 1.0)
    return share * share * (3 - 2 * share)


def _at_most(vector: np.ndarray, limit: float) -> np.ndarray:
    length = float(np.linalg.norm(vector))
    return vector if length <= limit else vector * (limit / length)


def _quiet(message: str) -> None:
    """Keep the engine from writing a log file into the working folder; `_frame` looks itself."""
