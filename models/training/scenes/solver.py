"""From a template and a cast to pairs of poses: batched Adam over joint angles.

The objective adds up contacts, penetration of the other body, of oneself and of the mat (all by
sphere proxies), and a pull towards the drawn start. Joint limits are kept exactly, by projection.
Whether a pair is good is judged afterwards on the meshes (`plausibility`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import torch
from torch import Tensor

from .body import Person
from .contacts import Start, Template
from .joints import HIGH, JOINT_INDEX, JOINT_NAMES, LOW, mirror_joints
from .objective import Objective
from .plausibility import Quality, judge
from .pose import BodyPose, PosedPair
from .rig import PosedSpheres, Rig, Selection, turn_by


@dataclass(frozen=True)
class SolverSettings:
    """Numbers of the solver; lengths in metres, angles in degrees.

    Attributes
    ----------
    steps : int
        Of Adam; the last 30 % at a third of the rate.
    rate : float
        Radians a step for joints; half for the pelvis' turn, 0.3 (metres) for its place.
    joint_noise, turn_noise, place_noise : float
        Spread of the start around what the template says.
    cloth : float
        Gap kept between the bodies' spheres.
    mat_gives : float
        How far a sphere may sink into the mat.
    self_gives : float
        How far spheres of one body may overlap.
    contact, penetration, floor, self_contact, prior : float
        Weights of the terms.
    """

    steps: int = 280
    rate: float = 0.03
    joint_noise: float = 8.0
    turn_noise: float = 5.0
    place_noise: float = 0.02
    cloth: float = 0.013
    mat_gives: float = 0.003
    self_gives: float = 0.02
    contact: float = 60.0
    penetration: float = 100.0
    floor: float = 500.0
    self_contact: float = 80.0
    prior: float = 0.06


@dataclass(frozen=True)
class SolvedPair:
    """A pair of poses and how good it is."""

    pair: PosedPair
    quality: Quality


@dataclass(frozen=True)
class Candidate:
    """A pair as the solver left it, before its meshes were looked at.

    Attributes
    ----------
    pair : PosedPair
        As the template is written.
    contact, worst_contact : float
        Mean and largest gap of what should touch, metres.
    to_mirror : bool
        Whether the finished pair is to be mirrored.
    """

    pair: PosedPair
    contact: float
    worst_contact: float
    to_mirror: bool


@dataclass
class _Poses:
    """The variables of 2 B bodies."""

    joints: Tensor
    turn: Tensor
    place: Tensor
    start_joints: Tensor
    start_rotation: Tensor

    def rotation(self) -> Tensor:
        return turn_by(self.turn) @ self.start_rotation


def _rotation_of(yaw: np.ndarray, pitch: np.ndarray, roll: np.ndarray) -> np.ndarray:
    """Yaw about the vertical, then pitch forwards, then roll about the body's axis; degrees."""
    zero, one = np.zeros_like(yaw), np.ones_like(yaw)

    def about_z(degrees: np.ndarray) -> np.ndarray:
        c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
        return np.stack([c, -s, zero, s, c, zero, zero, zero, one], -1).reshape(-1, 3, 3)

    c, s = np.cos(np.radians(pitch)), np.sin(np.radians(pitch))
    about_x = np.stack([one, zero, zero, zero, c, -s, zero, s, c], -1).reshape(-1, 3, 3)
    return about_z(yaw) @ about_x @ about_z(roll)


def _draw_start(
    starts: Sequence[Start], rng: np.random.Generator, settings: SolverSettings
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Joints (n, J) in radians, rotation (n, 3, 3), place (n, 3) in metres, one for each start."""
    joints = np.zeros((len(starts), len(JOINT_NAMES)))
    for side in "LR":
        joints[:, JOINT_INDEX[f"grip.{side}"]] = rng.uniform(15, 45, len(starts))
    for row, start in zip(joints, starts, strict=True):
        for name, value in start.joints.items():
            row[JOINT_INDEX[name]] = rng.uniform(*value)
    # The spine adds up five bones and the ankle is short of range: half the noise there.
    calm = np.array([0.5 if n.startswith(("spine", "clav", "ank")) else 1.0 for n in JOINT_NAMES])
    joints += rng.normal(size=joints.shape) * settings.joint_noise * calm
    place = np.array([[rng.uniform(*axis) for axis in s.at] for s in starts]) / 100
    angles = np.array([[rng.uniform(*a) for a in (s.yaw, s.pitch, s.roll)] for s in starts])
    return np.radians(joints), _rotation_of(*angles.T), place


def _begin(
    templates: Sequence[Template],
    rng: np.random.Generator,
    settings: SolverSettings,
    device: str,
    starts: Sequence[PosedPair | None] = (),
) -> _Poses:
    drawn = [_draw_start([t.starts[k] for t in templates], rng, settings) for k in (0, 1)]
    joints, rotation, place = (np.concatenate(part) for part in zip(*drawn, strict=True))
    for i, pair in ((i, pair) for i, pair in enumerate(starts) if pair):
        for row, body in zip((i, i + len(templates)), pair.bodies, strict=True):
            joints[row], rotation[row], place[row] = body.joints, body.rotation, body.translation
    turn = np.radians(rng.normal(size=place.shape) * settings.turn_noise)
    place = place + rng.normal(size=place.shape) * settings.place_noise

    def tensor(array: np.ndarray) -> Tensor:
        return torch.as_tensor(array, dtype=torch.float32, device=device)

    start = tensor(np.clip(joints, LOW + 0.02, HIGH - 0.02))
    return _Poses(
        start.clone().requires_grad_(),
        tensor(turn).requires_grad_(),
        tensor(place).requires_grad_(),
        start,
        tensor(rotation),
    )


def _penetration(posed: PosedSpheres, bodies: Selection, cloth: float) -> Tensor:
    """Overlap of every sphere of A with every one of B, (B, S, S) metres."""
    half = len(posed.centre) // 2
    a, b = posed.centre[:half], posed.centre[half:]
    gap = torch.cdist(a, b, compute_mode="donot_use_mm_for_euclid_dist")
    reach = bodies.radius[:half, :, None] + bodies.radius[half:, None] + cloth
    return (reach - gap).clamp(min=0)


def _own_overlap(posed: PosedSpheres, bodies: Selection, gives: float) -> Tensor:
    """Overlap of a body's parts that are no neighbours, (2 B, pairs) metres."""
    i, j = bodies.rig.self_pairs
    gap = (posed.centre[:, i] - posed.centre[:, j]).square().sum(-1).add(1e-8).sqrt()
    return (bodies.radius[:, i] + bodies.radius[:, j] - gives - gap).clamp(min=0)


def _ramp(progress: float) -> float:
    """Bodies pass through each other at first, are held apart later, and firmly at the end."""
    return 0.05 + progress if progress < 0.6 else 1.0 + 10 * (progress - 0.6)


def _loss(
    poses: _Poses,
    bodies: Selection,
    objective: Objective,
    settings: SolverSettings,
    progress: float,
) -> Tensor:
    """Summed over the batch, which keeps the pairs independent."""
    posed = bodies.pose(poses.joints, poses.rotation(), poses.place)
    sunk = (bodies.radius - settings.mat_gives - posed.centre[..., 2]).clamp(min=0)
    own = _own_overlap(posed, bodies, settings.self_gives)
    other = _penetration(posed, bodies, settings.cloth)
    return (
        settings.contact * objective.loss(posed)
        + settings.floor * sunk.square().sum()
        + settings.self_contact * min(1.0, 0.1 + 2 * progress) * own.square().sum()
        + settings.penetration * _ramp(progress) * other.square().sum()
        + settings.prior * (poses.joints - poses.start_joints).square().sum()
    )


def _optimise(
    poses: _Poses, bodies: Selection, objective: Objective, settings: SolverSettings
) -> None:
    low = torch.as_tensor(LOW, device=poses.joints.device)
    high = torch.as_tensor(HIGH, device=poses.joints.device)
    rates = ((poses.joints, 1.0), (poses.turn, 0.5), (poses.place, 0.3))
    adam = torch.optim.Adam([{"params": [p], "lr": settings.rate * k} for p, k in rates])
    for step in range(settings.steps):
        adam.zero_grad()
        _loss(poses, bodies, objective, settings, step / settings.steps).backward()
        adam.step()
        with torch.no_grad():
            poses.joints.copy_(poses.joints.clamp(low, high))
        if step == int(0.7 * settings.steps):
            for group in adam.param_groups:
                group["lr"] *= 0.3


def mirror(pair: PosedPair) -> PosedPair:
    """Return the pair seen in a mirror: left and right exchanged, exactly."""
    flip = np.diag([-1.0, 1.0, 1.0]).astype(np.float32)
    bodies = tuple(
        BodyPose(b.person, mirror_joints(b.joints), flip @ b.rotation @ flip, flip @ b.translation)
        for b in pair.bodies
    )
    return replace(pair, bodies=(bodies[0], bodies[1]), mirrored=not pair.mirrored)


def swap(pair: PosedPair) -> PosedPair:
    """Return the pair with A and B exchanged."""
    top: Literal["A", "B"] | None = pair.top and ("B" if pair.top == "A" else "A")
    return replace(pair, bodies=pair.bodies[::-1], top=top)


def solve(
    template: Template,
    persons: Sequence[Person],
    batch: int = 32,
    seed: int = 0,
    device: str = "cpu",
    settings: SolverSettings = SolverSettings(),
) -> list[SolvedPair]:
    """Solve one template for pairs of people drawn from a cast; see `solve_all`."""
    return solve_all([template] * batch, persons, seed, device, settings)


def solve_all(
    templates: Sequence[Template],
    persons: Sequence[Person],
    seed: int = 0,
    device: str = "cpu",
    settings: SolverSettings = SolverSettings(),
) -> list[SolvedPair]:
    """Solve templates for pairs of people drawn from a cast, all at once.

    Parameters
    ----------
    templates : sequence of Template
        One for each pair wanted; a mixed batch costs no more than a uniform one.
    persons : sequence of Person
        The cast; pairs are two different people.
    seed : int
        Of people, ranges, alternatives, noise and mirroring.
    device : str
        ``"cpu"`` or ``"cuda"``.

    Returns
    -------
    list of SolvedPair
        One for each template, good and bad; half of them mirrored. ``quality.accepted`` says
        which ones to keep.
    """
    found = candidates(templates, persons, seed, device, settings)
    return [finished(candidate, persons) for candidate in found]


def finished(candidate: Candidate, persons: Sequence[Person]) -> SolvedPair:
    """Set a candidate down on the mat, measure its meshes and mirror it if it is to be."""
    pair, quality = judge(candidate.pair, persons, candidate.contact, candidate.worst_contact)
    return SolvedPair(mirror(pair) if candidate.to_mirror else pair, quality)


def candidates(
    templates: Sequence[Template],
    persons: Sequence[Person],
    seed: int = 0,
    device: str = "cpu",
    settings: SolverSettings = SolverSettings(),
    rig: Rig | None = None,
    starts: Sequence[PosedPair | None] = (),
) -> list[Candidate]:
    """Solve templates without looking at the meshes, which takes longer than the solving.

    Parameters
    ----------
    templates, persons, seed, device, settings
        As for `solve_all`.
    rig : Rig, optional
        Of `persons` on `device`, to be made once for many calls.
    starts : sequence of PosedPair or None
        Where to begin in place of what the template says, one for each template; none by default.

    Returns
    -------
    list of Candidate
        One for each template.
    """
    rng = np.random.default_rng(seed)
    batch = len(templates)
    who = np.array([rng.permutation(len(persons))[:2] for _ in range(batch)]).T
    rig = rig or Rig(persons, device)
    bodies = rig.select(torch.as_tensor(who.ravel(), device=device))
    objective = Objective(templates, rig.names, bodies, rng)
    poses = _begin(templates, rng, settings, device, starts)
    _optimise(poses, bodies, objective, settings)
    with torch.no_grad():
        posed = bodies.pose(poses.joints, poses.rotation(), poses.place)
        mean, worst = (x.cpu().numpy() for x in objective.contact_error(posed))
        joints, rotation, place = (
            x.detach().cpu().numpy().reshape(2, batch, *x.shape[1:])
            for x in (poses.joints, poses.rotation(), poses.place)
        )
    mirrored = rng.random(batch) < 0.5
    found = []
    for i, template in enumerate(templates):
        a, b = (BodyPose(int(who[k, i]), joints[k, i], rotation[k, i], place[k, i]) for k in (0, 1))
        pair = PosedPair(template.name, template.position, template.top, (a, b))
        found.append(Candidate(pair, float(mean[i]), float(worst[i]), bool(mirrored[i])))
    return found
