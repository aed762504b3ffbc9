"""Which two of the people are the athletes, and which is which: a trellis over ordered pairs.

A state of the trellis is "A is this person, B is that one", either of whom may be missing. Each
state keeps the best path into it, and with the path where A and B were last seen, how they
moved and what they wore: Viterbi with per-survivor processing (Raheli, Polydoros & Tzou 1995).
So a choice made in an entanglement is settled by what is seen after it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.athletes import clothing, movement
from pipeline.athletes.people import People
from pipeline.settings import AthletesSettings


@dataclass(frozen=True)
class Memory:
    """What is remembered of A and B, for each of S paths.

    Attributes
    ----------
    points : ndarray, (S, 2, 17, 2)
        Where last seen, pixels; NaN = never.
    seen_s : ndarray, (S, 2)
        When; −inf = never.
    velocity : ndarray, (S, 2, 2)
        Pixels a second.
    trunk : ndarray, (S, 2)
    clothing : ndarray, (S, 2, clothing.LENGTH)
    """

    points: np.ndarray
    seen_s: np.ndarray
    velocity: np.ndarray
    trunk: np.ndarray
    clothing: np.ndarray

    @classmethod
    def blank(cls) -> Memory:
        """Nothing seen yet."""
        return cls(
            points=np.full((1, 2, 17, 2), np.nan),
            seen_s=np.full((1, 2), -np.inf),
            velocity=np.zeros((1, 2, 2)),
            trunk=np.ones((1, 2)),
            clothing=np.zeros((1, 2, clothing.LENGTH)),
        )

    def take(self, paths: np.ndarray) -> Memory:
        """The memory of other paths, copied."""
        return Memory(
            self.points[paths].copy(),
            self.seen_s[paths].copy(),
            self.velocity[paths].copy(),
            self.trunk[paths].copy(),
            self.clothing[paths].copy(),
        )


def follow(
    samples: list[People], settings: AthletesSettings, memory: Memory | None = None
) -> np.ndarray:
    """Choose A and B in every sample.

    Parameters
    ----------
    samples : list of People
        In order of time.
    settings : AthletesSettings
    memory : Memory, optional
        Of one path: where the footage before ended.

    Returns
    -------
    ndarray of int, (T, 2)
        Index into each sample's `People.bodies`, both of one reading; −1 = missing.
    """
    memory = memory or Memory.blank()
    cost = np.zeros(1)
    time_s = samples[0].time_s - 0.2 if samples else 0.0
    trail: list[tuple[np.ndarray, np.ndarray]] = []
    for sample in samples:
        people = sample.bodies()
        elapsed = people.time_s - time_s
        time_s = people.time_s
        states = _states(sample)
        step = _step_costs(people, memory, states, elapsed, settings, sample.other is None)
        total = cost[:, None] + step
        best = total.argmin(axis=0)
        cost = total[best, np.arange(len(states))]
        cost -= cost.min()
        memory = _remember(memory.take(best), people, states, settings)
        trail.append((best, states))
    return _trace(trail, cost)


def _states(sample: People) -> np.ndarray:
    """All ordered pairs (N, 2) of bodies that one reading found; −1 = missing."""
    everyone = np.arange(-1, len(sample.bodies()))
    a, b = (grid.ravel() for grid in np.meshgrid(everyone, everyone, indexing="ij"))
    together = (a < 0) | (b < 0) | ((a < len(sample)) == (b < len(sample)))
    return np.stack([a, b], axis=1)[together & ((a != b) | (a == -1))]


def _trace(trail: list[tuple[np.ndarray, np.ndarray]], cost: np.ndarray) -> np.ndarray:
    chosen = np.full((len(trail), 2), -1)
    state = int(cost.argmin()) if trail else 0
    for t in range(len(trail) - 1, -1, -1):
        best, states = trail[t]
        chosen[t] = states[state]
        state = int(best[state])
    return chosen


def _step_costs(
    people: People,
    memory: Memory,
    states: np.ndarray,
    elapsed_s: float,
    settings: AthletesSettings,
    near_counts: bool,
) -> np.ndarray:
    """Cost (S, N) of going from each path to each state, in nats."""
    # What is paid for every sample is paid by time, so that 10 Hz reads as 5 Hz does.
    weight = float(np.clip(elapsed_s * 5, 0.25, 2))
    each = _movement_cost(people, memory, settings)
    each += weight * settings.clothing_weight * _clothing_cost(people, memory)
    each += weight * people.doubt
    lost = settings.missing_pair_cost if people.pair else settings.missing_cost
    missing = np.full((*each.shape[:2], 1), weight * lost)
    each = np.concatenate([each, missing], axis=2)  # index −1 is "missing"
    # Whoever stands nearest is what the first of two readings went by; the other corrects that.
    apart_cost = settings.apart_cost if near_counts else 0.0
    pair = weight * _pair_cost(people, states, settings.size_weight, apart_cost)
    naming = _naming_cost(people, memory, states)
    return each[:, 0, states[:, 0]] + each[:, 1, states[:, 1]] + pair + naming


def _movement_cost(people: People, memory: Memory, settings: AthletesSettings) -> np.ndarray:
    """Cost (S, 2, K) of A and B having moved to each person."""
    since = people.time_s - memory.seen_s
    cost = movement.cost(
        movement.expected(memory.points, memory.velocity, since, settings)[:, :, None],
        people.keypoints[..., :2],
        since[..., None],
        memory.trunk[..., None],
        settings,
        settings.jump_cost,
    )
    return np.where(np.isnan(cost), settings.first_seen_cost, cost)


def _clothing_cost(people: People, memory: Memory) -> np.ndarray:
    apart = clothing.distance(memory.clothing[:, :, None], people.clothing[None, None])
    return np.where(np.isnan(apart), 0.3, apart)


def _pair_cost(
    people: People, states: np.ndarray, size_weight: float, apart_cost: float
) -> np.ndarray:
    """What speaks against two people being the pair: far apart, small beside others; (N,)."""
    if len(people) == 0:
        return np.zeros(len(states))
    size = np.append(np.log(people.trunk.max() / people.trunk), 0)
    a, b = states.T
    cost = size_weight * (size[a] + size[b])
    both = (a >= 0) & (b >= 0)
    gap = gaps(people)[a[both], b[both]]
    cost[both] += apart_cost * gap / (gap + 3)
    return cost


def _naming_cost(people: People, memory: Memory, states: np.ndarray) -> np.ndarray:
    """Settle who is called A when nobody was seen before, (S, N): the one on the left."""
    a, b = states.T
    named_right = np.zeros(len(states), dtype=bool)
    if len(people):
        middle = np.nanmean(people.keypoints[..., 0], axis=1)
        named_right = (a >= 0) & (b >= 0) & (middle[a] > middle[b])
    nobody_yet = ~np.isfinite(memory.seen_s).any(axis=1)
    return 1e-3 * (nobody_yet[:, None] & (named_right | (a < 0)))


def gaps(people: People) -> np.ndarray:
    """Smallest keypoint distances between people, (K, K), in trunk lengths."""
    points = people.keypoints[..., :2].astype(np.float64)
    between = points[:, None, :, None] - points[None, :, None]
    distances = np.hypot(between[..., 0], between[..., 1])
    smallest = np.where(np.isnan(distances), np.inf, distances).min(axis=(2, 3))
    scale = np.sqrt(people.trunk[:, None] * people.trunk[None])
    return np.minimum(smallest / scale, 50)


def _remember(
    memory: Memory, people: People, states: np.ndarray, settings: AthletesSettings
) -> Memory:
    """Put what each state says of A and B into its path's memory."""
    near = gaps(people) if len(people) else np.zeros((0, 0))
    for slot in range(2):
        path = np.flatnonzero(states[:, slot] >= 0)
        who = states[path, slot]
        points = people.keypoints[who, :, :2].astype(np.float64)
        since = (people.time_s - memory.seen_s[path, slot])[:, None]
        moved = movement.of_body(points - memory.points[path, slot])
        recent = np.isfinite(moved).all(axis=1) & (since[:, 0] < 1)
        velocity = np.where(recent[:, None], moved / np.maximum(since, 1e-3), 0)
        memory.velocity[path, slot] = (memory.velocity[path, slot] + velocity) / 2
        kept = np.where(np.isnan(points), memory.points[path, slot], points)
        fresh = since[:, 0] < 1
        memory.points[path, slot] = np.where(fresh[:, None, None], kept, points)
        memory.seen_s[path, slot] = people.time_s
        memory.trunk[path, slot] = people.trunk[who]
        other = states[path, 1 - slot]
        clear = np.where(other >= 0, np.minimum(near[who, other], 1), 0.3)
        _learn_clothing(memory, path, slot, people.clothing[who], clear, settings)
    return memory


def _learn_clothing(
    memory: Memory,
    path: np.ndarray,
    slot: int,
    described: np.ndarray,
    clear: np.ndarray,
    settings: AthletesSettings,
) -> None:
    known = memory.clothing[path, slot]
    rate = (settings.clothing_rate * (0.1 + 0.9 * clear))[:, None]
    mixed = known + rate * (described - known)
    unknown = known.sum(axis=1, keepdims=True) == 0
    memory.clothing[path, slot] = np.where(unknown, described, mixed)
