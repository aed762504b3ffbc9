"""Grips: soft constraints between a hand and what it holds, that break when pulled too hard."""

from __future__ import annotations

import mujoco
import numpy as np

from .model import GRIPS_EACH, PairModel

REACH_M = 0.07
"""From the middle of the palm to a surface that the hand can hold."""
_FEET_LOCK_M = 0.2
_HOLDS_N = (150.0, 600.0)
"""What a grip bears before it slips: common practice, no source."""


class Grips:
    """All grips of a pair; at first none.

    Parameters
    ----------
    model : PairModel
    data : mujoco.MjData
        Posed.
    """

    def __init__(self, model: PairModel, data: mujoco.MjData):
        self._model, self._data = model, data
        self._breaks = np.full(2 * GRIPS_EACH, np.inf)
        data.eq_active[: len(self._breaks)] = 0

    @property
    def held(self) -> int:
        """How many grips hold."""
        return int(self._data.eq_active[: len(self._breaks)].sum())

    def take(
        self, rng: np.random.Generator, chance: float, holds: tuple[float, float] = _HOLDS_N
    ) -> None:
        """Close hands on what they touch, and lock feet that are crossed.

        Parameters
        ----------
        rng : numpy Generator
        chance : float
            That a hand which could, does.
        holds : two float
            Least and greatest force that breaks a grip, newtons.
        """
        for body in (0, 1):
            for number, hand in enumerate(("L", "R")):
                wants, bears = rng.random() < chance, rng.uniform(*holds)
                palm, held = self._hand(body, hand)
                if wants and held is not None and not self._busy(body, number):
                    self.hold(body * GRIPS_EACH + number, palm[0], held, bears, palm[1])
            wants, bears = rng.random() < chance, rng.uniform(*holds)
            left, right = (self._row(body, f"foot.{side}") for side in "LR")
            middle = (self._data.xpos[left] + self._data.xpos[right]) / 2
            apart = float(np.linalg.norm(self._data.xpos[left] - self._data.xpos[right]))
            if (
                wants
                and not self._busy(body, 2)
                and apart < _FEET_LOCK_M
                and self._around(body, middle)
            ):
                self.hold(body * GRIPS_EACH + 2, left, right, bears, middle)

    def hold(
        self, number: int, holder: int, held: int, bears: float, point: np.ndarray | None = None
    ) -> None:
        """Tie two parts together.

        Parameters
        ----------
        number : int
            Of the grip.
        holder, held : int
            MuJoCo's bodies.
        bears : float
            Force that breaks it, newtons.
        point : ndarray, (3,), optional
            Where, metres; otherwise in the joint of what is held.
        """
        model = self._model.model
        where = self._data.xpos[held] if point is None else point
        model.eq_obj1id[number], model.eq_obj2id[number] = holder, held
        for first, row in ((0, holder), (3, held)):
            turn = self._data.xmat[row].reshape(3, 3)
            model.eq_data[number, first : first + 3] = turn.T @ (where - self._data.xpos[row])
        self._data.eq_active[number] = 1
        self._breaks[number] = bears

    def open(self, rng: np.random.Generator, chance: float) -> None:
        """Let go of some."""
        self._data.eq_active[np.flatnonzero(rng.random(len(self._breaks)) < chance)] = 0

    def release(self) -> int:
        """Open grips that bear too much; return how many."""
        data = self._data
        equality = data.efc_type[: data.nefc] == int(mujoco.mjtConstraint.mjCNSTR_EQUALITY)
        if not equality.any():
            return 0
        equality &= data.efc_id[: data.nefc] < len(self._breaks)  # the others couple the spine
        rows = data.efc_id[: data.nefc][equality]
        pulled = np.zeros(len(self._breaks))
        np.add.at(pulled, rows, data.efc_force[: data.nefc][equality] ** 2)
        broken = np.sqrt(pulled) > self._breaks
        data.eq_active[np.flatnonzero(broken)] = 0
        return int(broken.sum())

    def _busy(self, body: int, number: int) -> bool:
        return bool(self._data.eq_active[body * GRIPS_EACH + number])

    def _row(self, body: int, bone: str) -> int:
        skeleton = self._model.skeletons[body]
        return self._model.body_rows[body][skeleton.person.topology.bone_index[bone]]

    def _hand(self, body: int, side: str) -> tuple[tuple[int, np.ndarray], int | None]:
        """Where a palm is, and the other body's part that it can hold."""
        wrist = self._row(body, f"wrist.{side}")
        skeleton = self._model.skeletons[body]
        bone = skeleton.person.topology.bone_index[f"wrist.{side}"]
        spheres = skeleton.person.spheres
        local = spheres.centres[spheres.index(f"palm.{side}")] - skeleton.person.rest_heads[bone]
        palm = self._data.xpos[wrist] + self._data.xmat[wrist].reshape(3, 3) @ local
        distance, found = self._nearest(1 - body, palm)
        return (wrist, palm), found if distance < REACH_M else None

    def _nearest(self, body: int, point: np.ndarray) -> tuple[float, int]:
        """Distance of a point to the surface of a body, and the part it is nearest to."""
        model = self._model.model
        rows = sorted(self._model.body_rows[body].values())
        geoms = np.flatnonzero(
            (model.geom_bodyid >= rows[0])
            & (model.geom_bodyid <= rows[-1])
            & (model.geom_contype > 0)
        )
        axis = self._data.geom_xmat[geoms].reshape(-1, 3, 3)[:, :, 2]
        off = point - self._data.geom_xpos[geoms]
        capsule = model.geom_type[geoms] == int(mujoco.mjtGeom.mjGEOM_CAPSULE)
        half = np.where(capsule, model.geom_size[geoms, 1], 0)
        along = np.clip((off * axis).sum(1), -half, half)
        gap = np.linalg.norm(off - along[:, None] * axis, axis=1) - model.geom_size[geoms, 0]
        best = int(np.argmin(gap))
        return float(gap[best]), int(model.geom_bodyid[geoms[best]])

    def _around(self, body: int, feet: np.ndarray) -> bool:
        """Whether feet that meet have the other body's trunk or leg between them and the hips."""
        hips = (self._row(body, "upperleg01.L"), self._row(body, "upperleg01.R"))
        seat = self._data.xpos[list(hips)].mean(0)
        return self._nearest(1 - body, (seat + feet) / 2)[0] < 0.05
