"""Moving bouts: one effort after another, named through time by the judge.

Nobody writes a plan: athletes hold, give in, pull towards another pair's pose, get to a base,
push. What comes of it is called by the judge, a name counting from `LEAST_NAMED_S` on; what has
no name is a scramble.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path

import numpy as np

from models.training.positions.data import StoredBout
from pipeline.positions.judging import judge_poses
from pipeline.timeline import Segment, State, Timeline

from ..body import Person
from ..bouts import KeypointArms, posed_spheres
from ..casting import matched
from ..events import find_moments
from ..motion import Motion, landmarks, placed
from ..pose import BodyPose, PosedPair
from . import efforts
from .model import PairModel
from .simulate import FRAME_S, DivergedError, Frame, Simulation
from .state import pair_of
from .stills import joints_of, material

LEAST_NAMED_S = 0.6
"""A shorter name is a moment on the way to another."""
UNNAMED = "scramble"
ON_FEET = ("standing", "apart")
_SAMPLE = 2  # frames: 12.5 samples a second
_LEAST_S = 8.0
_PHASE_S = (0.8, 3.5)
_CANDIDATES = 16
_GRIPPING = 0.6
Label = tuple[str, str | None]


@dataclass(frozen=True)
class Order:
    """One bout.

    Attributes
    ----------
    cast : str
    pairs : tuple of str
        Files.
    seed : int
    seconds : float
    folder : Path
    """

    cast: str
    pairs: tuple[str, ...]
    seed: int
    seconds: float
    folder: Path

    @property
    def name(self) -> str:
        """Of the file, without its ending."""
        return f"physics-{self.seed:05d}"


@dataclass(frozen=True)
class Told:
    """What a bout came to: seconds, seconds of each label, deepest contact and limits."""

    name: str
    seconds: float
    shares: dict[str, float]
    depth: float
    past_limit: float


def make(order: Order) -> Told | None:
    """Make and store one bout; None if it came apart too early. The same for the same order."""
    people, pairs = material(order.cast, order.pairs)
    rng = np.random.default_rng((order.seed, 0))
    a, b = matched(rng, people)
    both = people[a], people[b]
    model = PairModel(both)
    frames: list[Frame] = []
    start = _recast(pairs[_first(rng, pairs)], (a, b))
    try:
        simulation = Simulation(model, _on_mat(start, both), (order.seed, 1), _GRIPPING)
        for frame in _played(simulation, rng, pairs, both, order.seconds):
            frames.append(frame)
    except DivergedError:
        frames = frames[:-10]
    if len(frames) * FRAME_S < _LEAST_S:
        return None
    bout = _stored(order.name, model, start, frames[::_SAMPLE], (a, b), both)
    bout.save(order.folder)
    shares: dict[str, float] = {}
    for segment in bout.timeline.segments:
        shares[segment.position] = shares.get(segment.position, 0) + segment.end_s - segment.start_s
    return Told(
        order.name, float(bout.times[-1]), shares,
        float(np.quantile([f.depth for f in frames], 0.95)), max(f.past_limit for f in frames),
    )  # fmt: skip


def _played(
    simulation: Simulation,
    rng: np.random.Generator,
    pairs: Sequence[PosedPair],
    people: tuple[Person, Person],
    seconds: float,
) -> Iterator[Frame]:
    """One effort after another; between two of them hands grip anew."""
    spent = 0.0
    while spent < seconds:
        now = simulation.now()
        goal = _near(rng, now, pairs, people)
        wanted = [efforts.drawn(rng, b, g) for b, g in zip(now.bodies, goal.bodies, strict=True)]
        if rng.random() < 0.45:  # both let it happen: this is how positions are reached
            strength, reach_s = rng.uniform(0.5, 1.0, 2), float(rng.uniform(0.4, 1.2))
            wanted = [
                efforts.towards(b, g, float(s), reach_s)
                for b, g, s in zip(now.bodies, goal.bodies, strength, strict=True)
            ]
        elif rng.random() < 0.3:  # a position is held
            wanted = [efforts.hold(b, float(rng.uniform(0.5, 1.0))) for b in now.bodies]
        length = float(rng.uniform(*_PHASE_S))
        simulation.grips.open(rng, 0.5)
        simulation.grips.take(rng, _GRIPPING)
        yield from simulation.run((wanted[0], wanted[1]), length)
        spent += length


def _first(rng: np.random.Generator, pairs: Sequence[PosedPair]) -> int:
    """Draw where a bout begins: on the feet, in the middle of a throw, or anywhere."""
    rows = [int(row) for row in rng.integers(len(pairs), size=24)]
    wanted = (ON_FEET, ("takedown",), ())[int(rng.choice(3, p=(0.4, 0.25, 0.35)))]
    return next((row for row in rows if pairs[row].position in wanted), rows[0])


def _recast(pair: PosedPair, who: tuple[int, int]) -> PosedPair:
    bodies = [
        BodyPose(person, b.joints, b.rotation, b.translation)
        for b, person in zip(pair.bodies, who, strict=True)
    ]
    return PosedPair(pair.template, pair.position, pair.top, (bodies[0], bodies[1]))


def _on_mat(pair: PosedPair, people: tuple[Person, Person]) -> PosedPair:
    """Set a pair solved for others down on the mat; where both stand, each on their own feet."""
    lowest = [
        float((p.sphere_centres(p.fk(*_pose(b)))[:, 2] - p.spheres.radii).min())
        for p, b in zip(people, pair.bodies, strict=True)
    ]
    if pair.position not in ON_FEET:
        lowest = [min(lowest)] * 2
    bodies = [
        BodyPose(b.person, b.joints, b.rotation, b.translation - np.array([0, 0, z], np.float32))
        for b, z in zip(pair.bodies, lowest, strict=True)
    ]
    return PosedPair(pair.template, pair.position, pair.top, (bodies[0], bodies[1]))


def _pose(body: BodyPose) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    return body.joints, body.rotation, body.translation


def _near(
    rng: np.random.Generator,
    now: PosedPair,
    pairs: Sequence[PosedPair],
    people: tuple[Person, Person],
) -> PosedPair:
    """Choose, of some pairs laid where the two are, the one that is least far to go."""
    here = landmarks(now, people)
    best, least = now, np.inf
    for row in rng.integers(len(pairs), size=_CANDIDATES):
        pair = pairs[int(row)]
        if rng.random() < 0.5:
            pair = PosedPair(pair.template, pair.position, pair.top, pair.bodies[::-1])
        goal = _laid(_recast(pair, (0, 1)), now)
        far = float(np.linalg.norm(landmarks(goal, people) - here, axis=-1).mean())
        if 0.12 < far < least:
            best, least = goal, far
    return best


def _laid(pair: PosedPair, now: PosedPair) -> PosedPair:
    """Turn and move a pair so that the line between its athletes lies as it does now."""
    lines = [p.bodies[1].translation - p.bodies[0].translation for p in (pair, now)]
    facing = [p.bodies[0].rotation[:, 2] + p.bodies[0].rotation[:, 1] for p in (pair, now)]
    angles = [
        np.arctan2(*(v[1::-1])) for v in (lines if np.linalg.norm(lines[0]) > 0.5 else facing)
    ]
    turned = placed(pair, float(angles[1] - angles[0]), np.zeros(2))
    here, there = (np.mean([b.translation for b in p.bodies], 0) for p in (now, turned))
    return turned.shifted(np.array([*(here - there)[:2], 0], np.float32))


def _stored(
    name: str,
    model: PairModel,
    start: PosedPair,
    frames: Sequence[Frame],
    who: tuple[int, int],
    people: tuple[Person, Person],
) -> StoredBout:
    """Turn samples into skeletons, and let the judge say what each is."""
    poses = [pair_of(model, frame.qpos, start) for frame in frames]
    times = np.arange(len(frames)) * FRAME_S * _SAMPLE
    joints, rotation, translation = (
        np.array([[getattr(b, field) for b in pose.bodies] for pose in poses])
        for field in ("joints", "rotation", "translation")
    )
    none = np.zeros(len(times), int)
    motion = Motion(times, joints, rotation, translation, none, np.ones(len(times)))
    keypoints = np.stack(
        [KeypointArms.of(person).keypoints(motion, body) for body, person in enumerate(people)],
        axis=1,
    )
    local = [_recast(pose, (0, 1)) for pose in poses]
    labels = [(v.position or UNNAMED, v.top if v.position else None)
              for v in judge_poses(joints_of(local, people))]  # fmt: skip
    segments = segments_of(times, labels)
    moments = find_moments(times, keypoints, segments)
    spheres = posed_spheres(people, motion)
    return StoredBout(name, who, times, keypoints, spheres, Timeline(segments, moments))


def segments_of(
    times: np.ndarray, labels: Sequence[Label], least_s: float = LEAST_NAMED_S
) -> tuple[Segment, ...]:
    """Join labels of samples to segments; one that is too short goes with the one before it.

    Parameters
    ----------
    times : ndarray, (T,)
        Evenly spaced, seconds.
    labels : sequence of (str, {"A", "B", None}), length T
    least_s : float
        The least duration of a segment, unless the whole is shorter.

    Returns
    -------
    tuple of Segment
        Without gaps, from the first sample to one step after the last.
    """
    step = float(times[1] - times[0])
    runs = [(label, len(list(group))) for label, group in groupby(labels)]
    kept: list[tuple[Label, int]] = []
    waiting = 0  # samples before the first run that is long enough
    for label, count in runs:
        if kept and (label == kept[-1][0] or count * step < least_s):
            kept[-1] = kept[-1][0], kept[-1][1] + count
        elif count * step < least_s:
            waiting += count
        else:
            kept.append((label, count + waiting))
            waiting = 0
    kept = kept or [(runs[0][0], len(labels))]
    ends = float(times[0]) + step * np.cumsum([count for _, count in kept])
    starts = [float(times[0]), *ends[:-1].tolist()]
    return tuple(
        Segment(start, end, label[0], label[1], state=State.ACCEPTED)  # type: ignore[arg-type]
        for start, end, (label, _) in zip(starts, ends.tolist(), kept, strict=True)
    )
