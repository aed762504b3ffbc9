"""A stays A: the whole bout looked at once, as a chain over "kept" and "exchanged".

The costs are those of the choice of people (movement, clothing), but the clothing of A and B is
now learned from the whole bout, most from where they are apart. An exchange made in an
entanglement is so undone from what is seen after they part.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.athletes import clothing as cloth
from pipeline.athletes import movement
from pipeline.athletes.two_state import cheapest, path_cost, posterior
from pipeline.geometry import trunk_length
from pipeline.geometry.skeleton import HIPS, SHOULDERS, midpoint, seen_points
from pipeline.settings import AthletesSettings


@dataclass(frozen=True)
class Identity:
    """Where two tracks are to be exchanged.

    Attributes
    ----------
    exchanged : ndarray of bool, (T,)
        True where what is called A is B.
    confidence : ndarray, (T,)
        Probability 0–1 that, so exchanged, A is who was A at the first sample.
    """

    exchanged: np.ndarray
    confidence: np.ndarray


def resolve(
    times: np.ndarray, keypoints: np.ndarray, clothing: np.ndarray, settings: AthletesSettings
) -> Identity:
    """Find where two tracks exchange their athletes.

    Parameters
    ----------
    times : ndarray, (T,)
    keypoints : ndarray, (T, 2, 17, 3)
    clothing : ndarray, (T, 2, clothing.LENGTH)
        Zeros where not seen.
    settings : AthletesSettings

    Returns
    -------
    Identity
    """
    points = seen_points(keypoints, settings.min_confidence)
    trunk = _steady_trunk(points)
    stay, change = _movement(times, points, trunk, settings)
    change = change + settings.exchange_cost
    clear = _clearness(points, trunk)
    tries = []
    for start in (np.zeros(len(times), dtype=int), _by_clothing(clothing, clear)):
        exchanged = start
        for _ in range(4):
            state = _looks(times, clothing, trunk, clear, exchanged, settings)
            found = cheapest(state, stay, change)
            if (found == exchanged).all():
                break
            exchanged = found
        tries.append((path_cost(exchanged, state, stay, change), exchanged, state))
    _, exchanged, state = min(tries, key=lambda found: found[0])
    if len(times):
        # Who is called A is settled at the first sample; what is asked is whether it lasts.
        state[0, 1 - exchanged[0]] += 50.0
    chance = posterior(state, stay, change)
    confidence = chance[np.arange(len(times)), exchanged]
    if len(times) and exchanged[0]:
        exchanged = 1 - exchanged  # names are free; the first sample keeps its own
    return Identity(exchanged.astype(bool), confidence)


def _steady_trunk(points: np.ndarray) -> np.ndarray:
    """Trunk lengths (T, 2) in pixels, gaps filled."""
    trunk = trunk_length(points)
    alone = np.where(np.isnan(trunk), trunk[:, ::-1], trunk)
    usual = np.nanmedian(alone) if np.isfinite(alone).any() else 1.0
    return np.where(np.isnan(alone), usual, alone)


def _clearness(points: np.ndarray, trunk: np.ndarray) -> np.ndarray:
    """How far the looks of a sample can be trusted, 0.05–1: little where trunks overlap."""
    middle = (midpoint(points, SHOULDERS) + midpoint(points, HIPS)) / 2
    apart = np.linalg.norm(middle[:, 0] - middle[:, 1], axis=-1) / trunk.mean(axis=1)
    return np.where(np.isnan(apart), 0.3, np.clip((apart - 0.3) / 1.2, 0.05, 1))


def _by_clothing(clothing: np.ndarray, clear: np.ndarray) -> np.ndarray:
    """Sort each sample by clothing alone, (T,): which way its difference points.

    Learning what A wears from tracks that exchange half-way learns a mixture; so the search
    also starts from here. The direction in which most samples differ is the first eigenvector
    of their differences, whatever their signs.
    """
    if len(clothing) == 0:
        return np.zeros(0, dtype=int)
    seen = (clothing.sum(axis=2) > 0).all(axis=1)
    differ = np.sqrt(clothing[:, 0].astype(float)) - np.sqrt(clothing[:, 1].astype(float))
    differ *= (seen * clear)[:, None]
    direction = np.linalg.eigh(differ.T @ differ)[1][:, -1]
    return (differ @ direction < 0).astype(int)


def _looks(
    times: np.ndarray,
    clothing: np.ndarray,
    trunk: np.ndarray,
    clear: np.ndarray,
    exchanged: np.ndarray,
    settings: AthletesSettings,
) -> np.ndarray:
    """Cost (T, 2) of kept and exchanged from clothing and size."""
    flip = exchanged[:, None, None].astype(bool)
    sorted_out = np.where(flip, clothing[:, ::-1], clothing)
    worn = [cloth.mean(sorted_out[:, i], clear) for i in range(2)]
    kept = sum(np.nan_to_num(cloth.distance(clothing[:, i], worn[i])) for i in range(2))
    swapped = sum(np.nan_to_num(cloth.distance(clothing[:, i], worn[1 - i])) for i in range(2))
    ratio = np.log(trunk[:, 0] / trunk[:, 1])
    usual = np.average(np.where(exchanged, -ratio, ratio), weights=clear) if len(ratio) else 0.0
    spread = settings.size_spread
    size = [np.minimum((ratio - s * usual) ** 2 / (2 * spread**2), 1) for s in (1, -1)]
    # Neighbouring samples see the same cloth: what they say adds up by time, not by number.
    elapsed = np.clip(np.gradient(times) if len(times) > 1 else np.ones(len(times)), 0.02, 0.5)
    weight = settings.looks_per_s * elapsed * clear
    clothes = settings.clothing_weight * np.stack([kept, swapped], axis=1)
    return weight[:, None] * (clothes + 0.25 * np.stack(size, axis=1))


def _movement(
    times: np.ndarray, points: np.ndarray, trunk: np.ndarray, settings: AthletesSettings
) -> tuple[np.ndarray, np.ndarray]:
    """Costs (T,) of both going on as themselves, and of each going on as the other."""
    stay, change = np.zeros(len(times)), np.zeros(len(times))
    last = np.full((2, 17, 2), np.nan)
    seen_s = np.full(2, -np.inf)
    velocity = np.zeros((2, 2))
    for t, time_s in enumerate(times):
        now = points[t]
        since = time_s - seen_s
        before = movement.expected(last, velocity, since, settings)
        scale = np.full((2, 1), trunk[t].mean())
        costs = movement.cost(
            before[:, None], now[None], since[:, None], scale, settings, settings.exchange_jump_cost
        )
        costs = np.nan_to_num(costs)  # unseen says nothing either way
        stay[t], change[t] = costs[0, 0] + costs[1, 1], costs[0, 1] + costs[1, 0]
        for i in np.flatnonzero(np.isfinite(now).any(axis=(1, 2))):
            recent = since[i] < 1
            step = movement.of_body(now[i] - last[i]) / max(since[i], 1e-3)
            usable = recent and np.isfinite(step).all()
            velocity[i] = (velocity[i] + step) / 2 if usable else 0
            last[i] = np.where(np.isnan(now[i]) & recent, last[i], now[i])
            seen_s[i] = time_s
    return stay, change
