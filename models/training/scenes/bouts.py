"""Whole bouts of two people, with everything about them known.

`make_bout` draws a plan, lays solved pairs on the mat, makes them move, and writes down the
truth: the timeline, and both skeletons in 3D at every sample.
"""

from __future__ import annotations

import functools
import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipeline.timeline import Athlete, Segment, State, Timeline

from .body import Person
from .events import find_moments
from .grammar import Hold, plan_bout
from .motion import Library, Motion, People, arrange, key_poses
from .pose import PosedPair
from .settle import SettleSettings, settle
from .solver import solve, swap
from .templates import lasting, templates

RATE_HZ = 10.0
_MAT_GIVES_M = 0.008


@dataclass(frozen=True, eq=False)
class Bout:
    """One bout.

    Attributes
    ----------
    who : two int
        Rows of the cast: athlete A, athlete B.
    people : two Person
    plan : tuple of Hold
    motion : Motion
        At every sample.
    keypoints : ndarray, float32, (T, 2, 17, 3)
        COCO keypoints in the world, metres.
    timeline : Timeline
        The truth.
    """

    who: tuple[int, int]
    people: People
    plan: tuple[Hold, ...]
    motion: Motion
    keypoints: np.ndarray
    timeline: Timeline

    @property
    def times(self) -> np.ndarray:
        """Sample times, seconds."""
        return self.motion.times

    @functools.cached_property
    def spheres(self) -> np.ndarray:
        """Centres and radii of both bodies' sphere proxies, (T, 2, S, 4) metres."""
        return posed_spheres(self.people, self.motion)

    def pair(self, sample: int) -> PosedPair:
        """Return one sample as a posed pair, labelled with the truth."""
        said = self.timeline.at(float(self.times[sample])) or self.timeline.segments[-1]
        pair = self.motion.pose(sample, self.who, self.plan[self.motion.hold[sample]])
        return replace(pair, position=said.position, top=said.top)


def make_bout(
    seed: int,
    cast: Sequence[Person],
    who: tuple[int, int],
    library: Library,
    seconds: float = 60.0,
    rate_hz: float = RATE_HZ,
    settings: SettleSettings | None = None,
) -> Bout:
    """Make a bout.

    Parameters
    ----------
    seed : int
    cast : sequence of Person
    who : two int
        Rows of the cast.
    library : Library
        Solved pairs, as from `library_for`.
    seconds : float
    rate_hz : float
        Samples a second.
    settings : SettleSettings, optional

    Returns
    -------
    Bout
        The same for the same arguments.
    """
    positions = lasting({name: pairs[0].position for (name, _), pairs in library.items()})
    plan = plan_bout(np.random.default_rng((seed, 0)), positions, seconds)
    return play(plan, seed, cast, who, library, rate_hz, settings)


def make_own_bout(
    seed: int,
    cast: Sequence[Person],
    who: tuple[int, int],
    seconds: float = 30.0,
    rate_hz: float = RATE_HZ,
    tries: int = 4,
) -> Bout:
    """Make a bout whose positions are solved for the very two people; for rendering.

    Parameters
    ----------
    tries : int
        Pairs solved of each template in each role; the better half is used.

    Other parameters as for `make_bout`.
    """
    known = templates()
    plan = plan_bout(np.random.default_rng((seed, 0)), lasting(), seconds)
    people = [cast[who[0]], cast[who[1]]]
    solved: list[PosedPair] = []
    for name in dict.fromkeys(hold.template for hold in plan):
        roles = {hold.pose_top for hold in plan if hold.template == name}
        found = solve(known[name], people, batch=2 * tries, seed=seed)
        for role in roles:
            first = 0 if role == "A" else 1
            fitting = [s for s in found if s.pair.bodies[0].person == first]
            fitting.sort(key=lambda s: s.quality.penetration + s.quality.contact)
            solved += [_recast(s.pair, who) for s in fitting[: max(len(fitting) // 2, 1)]]
    return play(plan, seed, cast, who, library_for(solved, who), rate_hz)


def _recast(pair: PosedPair, who: tuple[int, int]) -> PosedPair:
    """Return the pair with rows of the two people made rows of the cast."""
    first, second = (replace(body, person=who[body.person]) for body in pair.bodies)
    return replace(pair, bodies=(first, second))


def play(
    plan: Sequence[Hold],
    seed: int,
    cast: Sequence[Person],
    who: tuple[int, int],
    library: Library,
    rate_hz: float = RATE_HZ,
    settings: SettleSettings | None = None,
) -> Bout:
    """Make the bout of a given plan; parameters as for `make_bout`."""
    rng = np.random.default_rng((seed, 1))
    people = cast[who[0]], cast[who[1]]
    keys = key_poses(rng, plan, arrange(rng, plan, library, people))
    solved = settle(people, keys, settings or SettleSettings())
    motion = _on_mat(people, solved.at(np.arange(0.0, keys.times[-1], 1 / rate_hz)))
    keypoints = np.stack(
        [KeypointArms.of(person).keypoints(motion, body) for body, person in enumerate(people)],
        axis=1,
    )
    segments = true_segments(plan)
    moments = find_moments(motion.times, keypoints, segments)
    return Bout(who, people, tuple(plan), motion, keypoints, Timeline(segments, moments))


def library_for(pairs: Iterable[PosedPair], who: tuple[int, int]) -> Library:
    """Sort solved pairs for two people, each of them in either role.

    A pair that was solved for others is taken over: joint angles carry from body to body, and
    `settle` makes good what lengths differ. Where there are pairs solved for these two, only
    those are used.

    Parameters
    ----------
    pairs : iterable of PosedPair
    who : two int
        Rows of the cast.
    """
    found: dict[tuple[str, Athlete], list[PosedPair]] = {}
    own: set[tuple[str, Athlete]] = set()
    for pair in pairs:
        solved_for = pair.bodies[0].person, pair.bodies[1].person
        for role in ("A", "B"):
            turned = pair if role == "A" else swap(pair)
            exact = (solved_for if role == "A" else solved_for[::-1]) == who
            key: tuple[str, Athlete] = (pair.template, "A" if role == "A" else "B")
            if exact and key not in own:
                own.add(key)
                found[key] = []
            if exact or key not in own:
                bodies = tuple(
                    replace(body, person=person)
                    for body, person in zip(turned.bodies, who, strict=True)
                )
                found.setdefault(key, []).append(replace(turned, bodies=(bodies[0], bodies[1])))
    return found


def true_segments(plan: Sequence[Hold]) -> tuple[Segment, ...]:
    """Return what a plan says, neighbours of the same label joined."""
    starts, clock = [0.0], 0.0
    for before, hold in itertools.pairwise(plan):
        clock += before.entry_s + before.hold_s
        starts.append(clock + hold.switch * hold.entry_s)
    end = clock + plan[-1].entry_s + plan[-1].hold_s
    segments: list[Segment] = []
    for hold, start_s, end_s in zip(plan, starts, [*starts[1:], end], strict=True):
        last = segments[-1] if segments else None
        if last is not None and (last.position, last.top) == (hold.position, hold.top):
            segments[-1] = replace(last, end_s=end_s)
        else:
            segments.append(Segment(start_s, end_s, hold.position, hold.top, state=State.ACCEPTED))
    return tuple(segments)


@dataclass(frozen=True, eq=False)
class KeypointArms:
    """Keypoints straight from bones: what skinning and the keypoint regressor come to.

    Both are linear in the bones' rotations and heads, so their product is exact and needs no
    mesh.

    Attributes
    ----------
    arm : ndarray, (17, J, 3)
    share : ndarray, (17, J)
        A keypoint is the sum over bones of rotation @ arm + share × head.
    person : Person
    """

    arm: np.ndarray
    share: np.ndarray
    person: Person

    @classmethod
    @functools.lru_cache(maxsize=128)
    def of(cls, person: Person) -> KeypointArms:
        """Build for one person."""
        regressor, skinning = person.topology.keypoint_regressor, person.topology.skinning
        share = (regressor @ skinning).toarray()
        at = np.stack(
            [
                (regressor.multiply(person.rest_vertices[:, axis]) @ skinning).toarray()
                for axis in range(3)
            ],
            axis=-1,
        )
        return cls(at - share[..., None] * person.rest_heads, share, person)

    def keypoints(self, motion: Motion, body: int) -> np.ndarray:
        """Return one body's keypoints, (T, 17, 3) metres."""
        bones = self.person.fk(
            motion.joints[:, body], motion.rotation[:, body], motion.translation[:, body]
        )
        turned = np.einsum("tjab,kjb->tka", bones.rotation, self.arm, optimize=True)
        return (turned + np.einsum("kj,tja->tka", self.share, bones.head)).astype(np.float32)


def posed_spheres(people: People, motion: Motion) -> np.ndarray:
    """Return both bodies' sphere proxies, (T, 2, S, 4): centre and radius in metres."""
    both = []
    for body, person in enumerate(people):
        bones = person.fk(
            motion.joints[:, body], motion.rotation[:, body], motion.translation[:, body]
        )
        centres = person.sphere_centres(bones)
        radii = np.broadcast_to(person.spheres.radii[:, None], (*centres.shape[:2], 1))
        both.append(np.concatenate([centres, radii], axis=-1))
    return np.stack(both, axis=1)


def _on_mat(people: People, motion: Motion) -> Motion:
    """Lift or lower every sample so that the lowest point of the pair touches the mat."""
    spheres = posed_spheres(people, motion)
    lowest = (spheres[..., 2] - spheres[..., 3]).min(axis=(1, 2))
    rise = -np.clip(lowest, 0, None) - np.clip(lowest + _MAT_GIVES_M, None, 0)
    translation = motion.translation.copy()
    translation[..., 2] += rise[:, None]
    return replace(motion, translation=translation)
