"""From a plan to moving bodies: key poses, the way between them, and small living motion.

A `Hold` names a template; `arrange` picks a solved pair for each and lays them on the mat one
after the other so that the bodies travel as little as possible. `key_poses` interpolates joint
angles between them and adds what living bodies do while they hold; `settle.settle` then pushes
bodies out of each other and keeps feet, knees and the lowest body where they belong.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.spatial.transform import Rotation, Slerp

from pipeline.errors import MatlineError
from pipeline.timeline import Athlete

from .body import JOINT_NAMES, Person
from .grammar import Hold
from .pose import BodyPose, PosedPair
from .solver import mirror

People = tuple[Person, Person]
Library = Mapping[tuple[str, Athlete], Sequence[PosedPair]]
"""Solved pairs by template and athlete in the top role; ``bodies`` are athlete A and athlete B."""

ENTRY_STEP_S = 0.15
HOLD_STEP_S = 0.5

# Bones that say where a body is: seat, neck, head, knees, feet, wrists.
_LANDMARKS = (
    "root", "neck01", "head", "lowerleg01.L", "lowerleg01.R", "foot.L", "foot.R", "wrist.L",
    "wrist.R",
)  # fmt: skip


@dataclass(frozen=True)
class Motion:
    """Two bodies through time.

    Attributes
    ----------
    times : ndarray, float64, (K,)
        Seconds.
    joints : ndarray, (K, 2, J)
        Radians.
    rotation : ndarray, (K, 2, 3, 3)
    translation : ndarray, (K, 2, 3)
        Metres.
    hold : ndarray, int, (K,)
        Index of the hold that is held or approached.
    phase : ndarray, (K,)
        0–1, how far the approach has come; 1 while holding.
    """

    times: np.ndarray
    joints: np.ndarray
    rotation: np.ndarray
    translation: np.ndarray
    hold: np.ndarray
    phase: np.ndarray

    def at(self, times: np.ndarray) -> Motion:
        """Interpolate at other times within the same span.

        Parameters
        ----------
        times : ndarray, (T,)
        """
        joints = PchipInterpolator(self.times, self.joints, axis=0)(times)
        translation = PchipInterpolator(self.times, self.translation, axis=0)(times)
        rotation = np.stack(
            [
                Slerp(self.times, Rotation.from_matrix(self.rotation[:, body]))(times).as_matrix()
                for body in (0, 1)
            ],
            axis=1,
        )
        nearest = np.clip(np.searchsorted(self.times, times), 0, len(self.times) - 1)
        phase = np.interp(times, self.times, self.phase)
        return Motion(times, joints, rotation, translation, self.hold[nearest], phase)

    def pose(self, index: int, people: tuple[int, int], hold: Hold) -> PosedPair:
        """Return one sample as a posed pair.

        Parameters
        ----------
        index : int
        people : two int
            Rows of the cast.
        hold : Hold
            Whose label the pair carries.
        """
        first, second = (
            BodyPose(
                people[body],
                self.joints[index, body].astype(np.float32),
                self.rotation[index, body].astype(np.float32),
                self.translation[index, body].astype(np.float32),
            )
            for body in (0, 1)
        )
        return PosedPair(hold.template, hold.position, hold.top, (first, second))


def placed(pair: PosedPair, yaw: float, shift: np.ndarray) -> PosedPair:
    """Turn a pair about the vertical axis (radians), then move it over the mat (x, y metres)."""
    turn = Rotation.from_euler("z", yaw).as_matrix().astype(np.float32)
    move = np.array([shift[0], shift[1], 0.0], np.float32)
    first, second = (
        replace(body, rotation=turn @ body.rotation, translation=turn @ body.translation + move)
        for body in pair.bodies
    )
    return replace(pair, bodies=(first, second))


def landmarks(pair: PosedPair, people: People) -> np.ndarray:
    """Return where the main bones of both bodies are, (2, L, 3) metres."""
    found = []
    for body, person in zip(pair.bodies, people, strict=True):
        bones = person.fk(body.joints, body.rotation, body.translation)
        found.append(bones.head[[person.topology.bone_index[name] for name in _LANDMARKS]])
    return np.stack(found)


def fit_on_mat(source: np.ndarray, target: np.ndarray) -> tuple[float, np.ndarray, float]:
    """Turn and move points over the mat to lie as near as possible to others.

    The planar case of the orthogonal Procrustes problem.

    Parameters
    ----------
    source, target : ndarray, (..., 3)

    Returns
    -------
    yaw : float
        Radians.
    shift : ndarray, (2,)
    distance : float
        Root mean square distance that is left, metres.
    """
    a, b = source.reshape(-1, 3), target.reshape(-1, 3)
    mean_a, mean_b = a[:, :2].mean(0), b[:, :2].mean(0)
    da, db = a[:, :2] - mean_a, b[:, :2] - mean_b
    yaw = np.arctan2((da[:, 0] * db[:, 1] - da[:, 1] * db[:, 0]).sum(), (da * db).sum())
    turn = np.array([[np.cos(yaw), -np.sin(yaw)], [np.sin(yaw), np.cos(yaw)]])
    moved = np.column_stack([da @ turn.T + mean_b, a[:, 2]])
    distance = float(np.sqrt(((moved - b) ** 2).sum(1).mean()))
    return float(yaw), mean_b - turn @ mean_a, distance


def arrange(
    rng: np.random.Generator, plan: Sequence[Hold], library: Library, people: People
) -> list[PosedPair]:
    """Choose and place a solved pair for every hold.

    Of the pairs there are, and their mirror images, the one that takes the shortest way is taken,
    with some chance. Who stays in a position moves about the mat: on the feet more than lying.

    Raises
    ------
    MatlineError
        If the library lacks a template in the roles that the plan asks for.
    """
    chosen: list[PosedPair] = []
    known: dict[int, list[tuple[PosedPair, np.ndarray]]] = {}
    for hold in plan:
        pairs = library.get((hold.template, hold.pose_top), ())
        if not pairs:
            raise MatlineError(
                f"No solved pair of “{hold.template}” with {hold.pose_top} in the top role; "
                "solve it first or leave the template out of the plan."
            )
        if not chosen:
            first = pairs[int(rng.integers(len(pairs)))]
            chosen.append(placed(first, rng.uniform(-np.pi, np.pi), np.zeros(2)))
            continue
        before = landmarks(chosen[-1], people)
        fits = []
        for pair in pairs:
            if id(pair) not in known:
                known[id(pair)] = [(p, landmarks(p, people)) for p in (pair, mirror(pair))]
            for candidate, points in known[id(pair)]:
                yaw, shift, distance = fit_on_mat(points, before)
                fits.append((distance * rng.uniform(0.8, 1.25), yaw, shift, candidate))
        _, yaw, shift, best = min(fits, key=lambda fit: fit[0])
        wander = 1.0 if hold.position in ("standing", "apart") else 0.2
        yaw += wander * rng.normal(0, 0.4)
        shift = shift + wander * rng.normal(0, 0.3, 2)
        chosen.append(_towards(chosen[-1], placed(best, yaw, shift), hold.reach))
    return chosen


def _towards(before: PosedPair, after: PosedPair, reach: float) -> PosedPair:
    """Return the pair a share of the way from one to the other."""
    if reach >= 1:
        return after
    return replace(after, bodies=_between(before, after, np.array([reach]))[0])


def _between(
    before: PosedPair, after: PosedPair, share: np.ndarray
) -> list[tuple[BodyPose, BodyPose]]:
    """Bodies at shares (N,) of the way; bodies that change places roll around each other."""
    start = np.stack([b.translation for b in before.bodies])
    end = np.stack([b.translation for b in after.bodies])
    middle = start.mean(0) + share[:, None] * (end.mean(0) - start.mean(0))
    apart = _swing(start[1] - start[0], end[1] - end[0], share)
    at = np.stack([middle - apart / 2, middle + apart / 2], axis=1)
    turns = [
        Slerp([0, 1], Rotation.from_matrix(np.stack([b.rotation, a.rotation])))(share).as_matrix()
        for b, a in zip(before.bodies, after.bodies, strict=True)
    ]
    result = []
    for k, s in enumerate(share):
        first, second = (
            BodyPose(
                before.bodies[i].person,
                ((1 - s) * before.bodies[i].joints + s * after.bodies[i].joints).astype(np.float32),
                turns[i][k].astype(np.float32),
                at[k, i].astype(np.float32),
            )
            for i in (0, 1)
        )
        result.append((first, second))
    return result


def _swing(start: np.ndarray, end: np.ndarray, share: np.ndarray) -> np.ndarray:
    """Turn one offset into another without passing through zero, (N, 3)."""
    lengths = np.linalg.norm(start), np.linalg.norm(end)
    if min(lengths) < 0.05:
        return start + share[:, None] * (end - start)
    a, b = start / lengths[0], end / lengths[1]
    axis = np.cross(a, b)
    if np.linalg.norm(axis) < 0.1:
        axis = np.cross(a, [0.0, 0.0, 1.0]) + 1e-3 * np.array([1.0, 1.0, 0.0])
    axis = axis / np.linalg.norm(axis)
    angle = np.arccos(np.clip(a @ b, -1, 1))
    turned = Rotation.from_rotvec(share[:, None] * angle * axis).apply(a)
    return turned * (lengths[0] + share * (lengths[1] - lengths[0]))[:, None]


def key_poses(rng: np.random.Generator, plan: Sequence[Hold], pairs: Sequence[PosedPair]) -> Motion:
    """Lay out key poses in time: approaches every 0.15 s, holds every 0.5 s.

    Returns
    -------
    Motion
        Not yet free of penetration; see `settle.settle`.
    """
    times: list[float] = []
    bodies: list[tuple[BodyPose, BodyPose]] = []
    index: list[int] = []
    phase: list[float] = []
    clock = 0.0
    for k, (hold, pair) in enumerate(zip(plan, pairs, strict=True)):
        if k:
            steps = max(int(np.ceil(hold.entry_s / ENTRY_STEP_S)), 2)
            share = np.arange(1, steps) / steps
            bodies += _between(pairs[k - 1], pair, share * share * (3 - 2 * share))
            times += list(clock + share * hold.entry_s)
            index += [k] * len(share)
            phase += list(share)
            clock += hold.entry_s
        count = max(int(np.ceil(hold.hold_s / HOLD_STEP_S)), 1) + 1
        count = 1 if hold.hold_s < 0.1 else count
        times += list(clock + np.linspace(0, hold.hold_s, count))
        bodies += [pair.bodies] * count
        index += [k] * count
        phase += [1.0] * count
        clock += hold.hold_s
    keys = Motion(
        np.array(times),
        np.array([[b.joints for b in both] for both in bodies]),
        np.array([[b.rotation for b in both] for both in bodies]),
        np.array([[b.translation for b in both] for both in bodies]),
        np.array(index),
        np.array(phase),
    )
    return replace(keys, joints=keys.joints + living(rng, keys.times))


# Degrees of sway by the joint's name; hands work all the time, legs carry.
_SWAY = {"spine": 2.0, "neck": 5.0, "clav": 2.0, "sh": 6.0, "elb": 8.0, "fore": 6.0, "wr": 8.0,
         "grip": 10.0, "hip": 1.5, "knee": 1.5, "ank": 1.0}  # fmt: skip


def living(rng: np.random.Generator, times: np.ndarray) -> np.ndarray:
    """Breathing, weight shifts and grip fighting: slow noise on every joint.

    Returns
    -------
    ndarray, (K, 2, J)
        Radians to add; three sines a joint between 0.1 and 0.7 Hz, rising and falling in vigour.
    """
    size = (2, len(JOINT_NAMES), 3)
    frequency = rng.uniform(0.1, 0.7, size)
    offset = rng.uniform(0, 2 * np.pi, size)
    waves = np.sin(2 * np.pi * frequency * times[:, None, None, None] + offset).sum(-1) / 3
    vigour = 0.75 + 0.5 * np.sin(0.5 * times[:, None] + rng.uniform(0, 6.3, 2))
    scale = np.radians([_SWAY[name.split("_")[0].split(".")[0]] for name in JOINT_NAMES])
    sway = 1.5 * waves * vigour[..., None] * scale
    breath = np.radians(1.0) * np.sin(2 * np.pi * 0.35 * times[:, None] + rng.uniform(0, 6.3, 2))
    sway[..., JOINT_NAMES.index("spine_flex")] += breath
    return sway
