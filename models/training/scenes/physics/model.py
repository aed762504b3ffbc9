"""Two people as a MuJoCo model: our joints as hinges, our spheres as capsules, masses by segment.

The chain of hinges is exactly the articulation of `Person.fk`: a bone's hinges turn about its
axes in its order, and a joint that several bones share (spine, neck, forearm) is shared out
between their hinges, each as stiff as its share is small, so that they bend together.

Segment masses: de Leva, *Adjustments to Zatsiorsky-Seluyanov's segment inertia parameters*
(1996), shares of body mass, values from memory; a body's mass is its skin's volume in water.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import mujoco
import numpy as np

from ..body import Person
from ..joints import HIGH, JOINT_NAMES, LOW
from ..spheres import are_neighbours

STEP_S = 0.004
CLOTH_M = 0.006
"""Added to every radius: gi or rash guard, and the bulges of flesh outside the proxies."""
_DENSITY = 1000.0

# Women, men; upper, middle and lower trunk are the chest, the belly and the pelvis.
_SHARES = {
    "head": (0.0668, 0.0694), "chest": (0.1545, 0.1596), "belly": (0.1465, 0.1633),
    "pelvis": (0.1247, 0.1117), "upper_arm": (0.0255, 0.0271), "forearm": (0.0138, 0.0162),
    "hand": (0.0056, 0.0061), "thigh": (0.1478, 0.1416), "shank": (0.0481, 0.0433),
    "foot": (0.0129, 0.0137),
}  # fmt: skip
_TRUNK = {
    "root": "pelvis", "spine05": "belly", "spine04": "belly",
    "spine03": "chest", "spine02": "chest", "spine01": "chest",
}  # fmt: skip
# Fingers are left open: they would stick out of a closed hand.
_LEFT_OUT = ("finger", "tip")
_LIGHT_KG, _LIGHT_M = 0.1, 0.02

# Greatest torque (N m) and stiffness (N m a radian) of a strong effort: common practice, no
# source; the order of isometric maxima of trained men, rounded.
_MUSCLES: dict[str, tuple[float, float]] = {
    "spine": (220, 450), "neck": (40, 90), "hip_tw": (60, 120), "hip": (190, 380),
    "knee_tw": (40, 150), "knee": (170, 280), "ank_inv": (40, 120), "ank": (100, 160),
    "clav": (90, 320), "sh_tw": (45, 80), "sh": (75, 130), "elb": (65, 110),
    "fore": (12, 25), "wr": (12, 25),
}  # fmt: skip
_DAMPING_S = 0.1
GRIPS_EACH = 3
"""Equality constraints of an athlete: two hands, and feet locked behind the other's back."""


@dataclass(frozen=True)
class Hinge:
    """One axis of one bone.

    Attributes
    ----------
    bone, slot : int
    joint : int
        Row of `JOINTS`.
    weight : float
        The hinge's angle over the joint's.
    """

    bone: int
    slot: int
    joint: int
    weight: float


def hinges_of(person: Person) -> list[Hinge]:
    """Return the hinges of a body in the order of MuJoCo's degrees of freedom; no fingers."""
    found = []
    mix = person.articulation.mix
    for bone, name in enumerate(person.topology.bones):
        if not name.startswith("finger"):
            for slot in range(3):
                for joint in np.flatnonzero(mix[:, bone, slot]):
                    weight = float(mix[joint, bone, slot])
                    found.append(Hinge(bone, slot, int(joint), weight))
    return found


def mass_of(person: Person) -> float:
    """Return a body's mass in kilograms, from the volume of its skin."""
    a, b, c = np.moveaxis(person.rest_vertices[person.topology.skin_faces], 1, 0)
    volume = float((a * np.cross(b, c)).sum() / 6)
    return float(np.clip(_DENSITY * volume, 35, 160))


@dataclass(frozen=True)
class Capsule:
    """A piece of a body: a run of spheres of one part on one bone.

    Attributes
    ----------
    part : str
    bone : int
        That carries it.
    ends : ndarray, (2, 3)
        In the rest shape, metres.
    radius : float
    """

    part: str
    bone: int
    ends: np.ndarray
    radius: float

    @property
    def volume(self) -> float:
        """Cubic metres."""
        length = float(np.linalg.norm(self.ends[1] - self.ends[0]))
        return float(np.pi * self.radius**2 * (length + 4 / 3 * self.radius))


class Skeleton:
    """One person's chain: turned bones only, with their hinges and capsules.

    Parameters
    ----------
    person : Person
    """

    def __init__(self, person: Person):
        self.person = person
        self.hinges = hinges_of(person)
        turned = {hinge.bone for hinge in self.hinges} | {0}
        parents = person.topology.parents

        def carrier(bone: int) -> int:
            while bone not in turned:
                bone = int(parents[bone])
            return bone

        self.carrier = carrier
        self.bones = sorted(turned)
        self.above = {b: carrier(int(parents[b])) if b else -1 for b in self.bones}
        self.capsules = list(self._capsules())

    def _capsules(self) -> Iterator[Capsule]:
        spheres = self.person.spheres
        runs: dict[tuple[str, int, str], list[int]] = defaultdict(list)
        for row, (name, part, bone) in enumerate(
            zip(spheres.names, spheres.parts, spheres.bones, strict=True)
        ):
            kind, *rest = name.split(".")
            if kind.startswith(_LEFT_OUT):
                continue
            limb = part.startswith(("thigh", "shank", "upper_arm", "forearm"))
            run = part if limb else f"trunk.{rest[0]}" if kind == "trunk" else name
            runs[part, self.carrier(int(bone)), run].append(row)
        for (part, bone, _), rows in runs.items():
            ends = spheres.centres[[rows[0], rows[-1]]].astype(float)
            yield Capsule(part, bone, ends, float(spheres.radii[rows].mean()))

    def segment(self, capsule: Capsule) -> str:
        """Segment of the table of masses that a capsule belongs to."""
        kind = capsule.part.split(".")[0]
        if kind == "trunk":
            return _TRUNK[self.person.topology.bones[capsule.bone]]
        return "head" if kind == "neck" else kind

    def masses(self) -> list[float]:
        """Return the mass of each capsule, kilograms."""
        man = float(np.clip(self.person.shape.get("gender", 0.0), 0, 1)) < 0.5
        whole = mass_of(self.person)

        def key(capsule: Capsule) -> tuple[str, str]:
            return self.segment(capsule), capsule.part

        volume: dict[tuple[str, str], float] = defaultdict(float)
        for capsule in self.capsules:
            volume[key(capsule)] += capsule.volume
        share = {s: both[int(man)] for s, both in _SHARES.items()}
        heads = sum(v for (segment, _), v in volume.items() if segment == "head")
        return [
            whole * share[self.segment(c)] * c.volume
            / (heads if self.segment(c) == "head" else volume[key(c)])
            for c in self.capsules
        ]  # fmt: skip


def _muscle(joint: int) -> tuple[float, float]:
    stem = JOINT_NAMES[joint]
    return next(values for name, values in _MUSCLES.items() if stem.startswith(name))


class PairModel:
    """Two people and a mat, ready to be simulated.

    Parameters
    ----------
    people : two Person

    Attributes
    ----------
    model : mujoco.MjModel
    skeletons : two Skeleton
    """

    def __init__(self, people: tuple[Person, Person]):
        self.skeletons = Skeleton(people[0]), Skeleton(people[1])
        spec = mujoco.MjSpec()
        spec.option.timestep = STEP_S
        spec.option.integrator = mujoco.mjtIntegrator.mjINT_IMPLICITFAST
        spec.option.iterations = 30
        spec.worldbody.add_geom(
            name="mat", type=mujoco.mjtGeom.mjGEOM_PLANE, size=[0, 0, 0.1],
            friction=[0.9, 0.01, 0.001], **_SOFT,
        )  # fmt: skip
        for side, skeleton in zip("AB", self.skeletons, strict=True):
            _add_body(spec, side, skeleton)
        for side in "AB":
            for _ in range(GRIPS_EACH):
                _add_grip(spec, side)
        for side, skeleton in zip("AB", self.skeletons, strict=True):
            _couple(spec, side, skeleton)
        self.model = spec.compile()
        self.strong = self.model.actuator_gainprm[:, 0].copy()
        self.torque = self.model.actuator_forcerange[:, 1].copy()
        self.damped = -self.model.actuator_biasprm[:, 2].copy()

    @cached_property
    def body_rows(self) -> tuple[dict[int, int], dict[int, int]]:
        """MuJoCo's body of each bone, by athlete."""
        a, b = (
            {bone: self.model.body(f"{side}{bone}").id for bone in skeleton.bones}
            for side, skeleton in zip("AB", self.skeletons, strict=True)
        )
        return a, b

    @cached_property
    def starts(self) -> tuple[int, int]:
        """Where each athlete's part of ``qpos`` begins."""
        return 0, 7 + len(self.skeletons[0].hinges)

    @cached_property
    def speeds(self) -> tuple[int, int]:
        """Where each athlete's part of ``qvel`` begins."""
        return 0, 6 + len(self.skeletons[0].hinges)

    def set_strength(self, strength: tuple[float, float]) -> None:
        """Set how hard each athlete works: 1 strong, 0 limp (muscle tone remains)."""
        count = len(self.skeletons[0].hinges)
        factor = np.full(len(self.strong), strength[1])
        factor[:count] = strength[0]
        factor = np.maximum(factor, 0.03)
        self.model.actuator_gainprm[:, 0] = factor * self.strong
        self.model.actuator_biasprm[:, 1] = -factor * self.strong
        self.model.actuator_biasprm[:, 2] = -np.sqrt(factor) * self.damped
        self.model.actuator_forcerange[:] = (factor * self.torque)[:, None] * [-1, 1]


# Flesh and mat give by a centimetre or two.
_SOFT = {"solref": [0.02, 1.0], "solimp": [0.7, 0.95, 0.02, 0.5, 2.0]}


def _add_body(spec: mujoco.MjSpec, side: str, skeleton: Skeleton) -> None:
    heads = skeleton.person.rest_heads.astype(float)
    made: dict[int, mujoco.MjsBody] = {}
    by_bone: dict[int, list[Hinge]] = defaultdict(list)
    for hinge in skeleton.hinges:
        by_bone[hinge.bone].append(hinge)
    for bone in skeleton.bones:
        above = skeleton.above[bone]
        parent = made[above] if above >= 0 else spec.worldbody
        place = heads[bone] - heads[above] if above >= 0 else np.zeros(3)
        body = made[bone] = parent.add_body(name=f"{side}{bone}", pos=place)
        if above < 0:
            body.add_freejoint(name=f"{side}free")
        for hinge in by_bone[bone]:
            _add_hinge(spec, body, side, skeleton, hinge)
    for capsule, mass in zip(skeleton.capsules, skeleton.masses(), strict=True):
        _add_capsule(made[capsule.bone], capsule, mass, heads[capsule.bone])
    carrying = {capsule.bone for capsule in skeleton.capsules}
    for bone in set(skeleton.bones) - carrying:
        made[bone].add_geom(
            type=mujoco.mjtGeom.mjGEOM_SPHERE, size=[_LIGHT_M, 0, 0], mass=_LIGHT_KG,
            contype=0, conaffinity=0,
        )  # fmt: skip
    for a, b in _never_touching(skeleton):
        spec.add_exclude(bodyname1=f"{side}{a}", bodyname2=f"{side}{b}")


def _add_hinge(
    spec: mujoco.MjSpec, body: mujoco.MjsBody, side: str, skeleton: Skeleton, hinge: Hinge
) -> None:
    name = f"{side}{hinge.bone}.{hinge.slot}"
    limits = sorted(hinge.weight * np.array([LOW[hinge.joint], HIGH[hinge.joint]], float))
    shared = abs(hinge.weight) < 0.99
    body.add_joint(
        name=name, type=mujoco.mjtJoint.mjJNT_HINGE, damping=1.0 / abs(hinge.weight),
        axis=skeleton.person.articulation.axes[hinge.bone, hinge.slot].astype(float),
        range=np.degrees(limits), limited=1, armature=0.06 if shared else 0.02,
        solref_limit=[0.016, 1.0],
    )  # fmt: skip
    torque, stiffness = _muscle(hinge.joint)
    stiffness /= abs(hinge.weight)
    spec.add_actuator(
        name=name, target=name, trntype=mujoco.mjtTrn.mjTRN_JOINT,
        gainprm=[stiffness, *[0.0] * 9],
        biastype=mujoco.mjtBias.mjBIAS_AFFINE,
        biasprm=[0, -stiffness, -_DAMPING_S * stiffness, *[0.0] * 7],
        forcelimited=1, forcerange=[-torque, torque],
    )  # fmt: skip


def _add_capsule(body: mujoco.MjsBody, capsule: Capsule, mass: float, head: np.ndarray) -> None:
    ends = capsule.ends - head
    length = float(np.linalg.norm(ends[1] - ends[0]))
    same = {"mass": mass, "friction": [0.5, 0.01, 0.001], **_SOFT}
    radius = capsule.radius + CLOTH_M
    if length < 0.005:
        body.add_geom(type=mujoco.mjtGeom.mjGEOM_SPHERE, pos=ends.mean(0), size=[radius, 0, 0],
                      **same)  # fmt: skip
    else:
        body.add_geom(type=mujoco.mjtGeom.mjGEOM_CAPSULE, fromto=ends.ravel(),
                      size=[radius, 0, 0], **same)  # fmt: skip


def _add_grip(spec: mujoco.MjSpec, side: str) -> None:
    other = "B" if side == "A" else "A"
    spec.add_equality(
        type=mujoco.mjtEq.mjEQ_CONNECT, objtype=mujoco.mjtObj.mjOBJ_BODY,
        name1=f"{side}0", name2=f"{other}0", active=False,
        solref=[0.04, 1.0], solimp=[0.5, 0.9, 0.03, 0.5, 2.0],
    )  # fmt: skip


def _couple(spec: mujoco.MjSpec, side: str, skeleton: Skeleton) -> None:
    """Make the hinges that share a joint bend in their shares, as `Person.fk` has it."""
    first: dict[int, Hinge] = {}
    for hinge in skeleton.hinges:
        lead = first.setdefault(hinge.joint, hinge)
        if lead is not hinge:
            spec.add_equality(
                type=mujoco.mjtEq.mjEQ_JOINT, objtype=mujoco.mjtObj.mjOBJ_JOINT,
                name1=f"{side}{hinge.bone}.{hinge.slot}", name2=f"{side}{lead.bone}.{lead.slot}",
                data=[0, hinge.weight / lead.weight, *[0.0] * (mujoco.mjNEQDATA - 2)], active=True,
                solref=[0.016, 1.0],
            )  # fmt: skip


def _never_touching(skeleton: Skeleton) -> Iterator[tuple[int, int]]:
    """Pairs of bones of one body whose flesh overlaps by nature."""
    parts: dict[int, set[str]] = defaultdict(set)
    for capsule in skeleton.capsules:
        parts[capsule.bone].add(capsule.part)
    rows = sorted(parts)
    for i, a in enumerate(rows):
        for b in rows[:i]:
            if any(p == q or are_neighbours(p, q) for p in parts[a] for q in parts[b]):
                yield a, b
