"""Two skeletons → a table of features, vectorised over time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.errors import MatlineError
from pipeline.geometry import planar
from pipeline.geometry.calibration import MatCalibration
from pipeline.geometry.columns import COLUMNS, FEATURE_NAMES, RATE_SUFFIX, RATED
from pipeline.geometry.lifting import LIFTED, LIFTED_NAMES, heights_over_mat
from pipeline.geometry.pair_lift import LOOKS_NAMES, lift, looks
from pipeline.geometry.skeleton import (
    ANKLES,
    EARS,
    ELBOWS,
    HIPS,
    KNEES,
    LEG_SEGMENTS,
    LIMB_SEGMENTS,
    NOSE,
    SHOULDERS,
    WRISTS,
    midpoint,
    nan_quantile,
    running_median,
    seen_points,
    trunk_length,
)
from pipeline.settings import GeometrySettings

_HEAD = (NOSE, 1, 2, *EARS)
_LEGS_OUTLINE = (11, 13, 15, 16, 14, 12)
_ARMS_OUTLINE = (5, 7, 9, 10, 8, 6)
_TRUNK_SAMPLES = np.linspace(0, 1, 9)


def features(
    times: np.ndarray,
    keypoints: np.ndarray,
    calibration: MatCalibration | None = None,
    settings: GeometrySettings | None = None,
) -> pd.DataFrame:
    """Turn two athletes' keypoints into the feature table.

    Parameters
    ----------
    times : ndarray, (T,)
        Seconds from the first picture, strictly increasing.
    keypoints : ndarray, (T, 2, 17, 3)
        x, y in source pixels (y down), confidence 0–1; COCO order; NaN = not seen.
    calibration : MatCalibration, optional
        Gives a true vertical and metres. Without it picture-up is up.
    settings : GeometrySettings, optional

    Returns
    -------
    DataFrame
        Index ``time_s``; columns `FEATURE_NAMES`, `LIFTED_NAMES`, `LOOKS_NAMES`. What depends on
        an unseen keypoint is NaN.

    Raises
    ------
    MatlineError
        If shapes don't fit or times don't increase.

    Examples
    --------
    >>> import numpy as np
    >>> features(np.array([0.0]), np.full((1, 2, 17, 3), np.nan))["a_hip_height"].tolist()
    [nan]
    """
    settings = settings or GeometrySettings()
    times, keypoints = _checked(times, keypoints)
    points = seen_points(keypoints, settings.min_confidence)
    metres: dict[str, np.ndarray] = {}
    if calibration is not None:
        metres = _metres(points, calibration)
        points = calibration.upright(points)
    pair = _Pair.measure(times, points, settings)
    athlete = _heights(pair) | _angles(pair) | _reaches(pair) | _tangle(pair)
    athlete |= _summaries(times, keypoints, pair, settings)
    columns = _pair_columns(pair, athlete) | {
        f"{letter}_{name}": values[:, i]
        for name, values in athlete.items()
        for i, letter in enumerate("ab")
    }
    columns |= metres | _over_mat(points, times) | _looks(times, keypoints)
    table = pd.DataFrame(columns, index=pd.Index(times, name="time_s"), dtype=np.float64)
    measured = [name for c in COLUMNS for name in c.full_names]
    lifted = table.reindex(columns=[*LIFTED_NAMES, *LOOKS_NAMES])
    table = table.reindex(columns=measured)
    rates = change_per_second(times, table[list(RATED)].to_numpy(), settings.rate_reach_s)
    changes = pd.DataFrame(rates, index=table.index, columns=[n + RATE_SUFFIX for n in RATED])
    table = pd.concat([table, changes, lifted], axis=1)
    return table[[*FEATURE_NAMES, *LIFTED_NAMES, *LOOKS_NAMES]]


def change_per_second(times: np.ndarray, values: np.ndarray, reach_s: float) -> np.ndarray:
    """Return the slope between the farthest samples within `reach_s` on either side.

    Parameters
    ----------
    times : ndarray, (T,)
    values : ndarray, (T, ...)
    reach_s : float

    Returns
    -------
    ndarray, (T, ...)
        Per second; NaN where no neighbour is near enough or either end is NaN.
    """
    before, after = _neighbours(times, reach_s)
    elapsed = (times[after] - times[before]).reshape(-1, *[1] * (values.ndim - 1))
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(elapsed > 0, (values[after] - values[before]) / elapsed, np.nan)


def _neighbours(times: np.ndarray, reach_s: float) -> tuple[np.ndarray, np.ndarray]:
    before = np.searchsorted(times, times - reach_s - 1e-9)
    after = np.searchsorted(times, times + reach_s + 1e-9, side="right") - 1
    return before, after


def _checked(times: np.ndarray, keypoints: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    times = np.asarray(times, dtype=np.float64)
    keypoints = np.asarray(keypoints)
    if times.ndim != 1 or keypoints.shape != (len(times), 2, 17, 3):
        raise MatlineError(
            f"Features: keypoints of shape {keypoints.shape} don't fit {times.shape} times; "
            "give (T, 2, 17, 3) for T times."
        )
    if not np.isfinite(times).all() or (np.diff(times) <= 0).any():
        raise MatlineError(
            "Features: sample times must be finite and strictly increasing; sort the samples "
            "and drop repeated ones."
        )
    return times, keypoints


@dataclass(frozen=True)
class _Pair:
    """What nearly every feature needs. T samples, 2 athletes; lengths in pixels."""

    points: np.ndarray  # (T, 2, 17, 2)
    hip: np.ndarray  # (T, 2, 2)
    shoulder: np.ndarray  # (T, 2, 2)
    head: np.ndarray  # (T, 2, 2)
    own_trunk: np.ndarray  # (T, 2)
    trunk: np.ndarray  # (T,) common scale
    floor: np.ndarray  # (T,) y of the lowest body point

    @classmethod
    def measure(cls, times: np.ndarray, points: np.ndarray, settings: GeometrySettings) -> _Pair:
        own = running_median(times, trunk_length(points), settings.scale_window_s)
        common = np.sqrt(own[:, 0] * own[:, 1])
        alone = np.where(np.isnan(own[:, 0]), own[:, 1], own[:, 0])
        lowest = nan_quantile(points[..., 1].reshape(-1, 34), 1.0)
        floor = running_median(times, lowest, settings.floor_window_s)
        return cls(
            points=points,
            hip=midpoint(points, HIPS),
            shoulder=midpoint(points, SHOULDERS),
            head=_nan_mean(points[:, :, _HEAD]),
            own_trunk=own,
            trunk=np.where(np.isnan(common), alone, common),
            floor=np.where(np.isnan(lowest), np.nan, floor),
        )

    def lengths(self, pixels: np.ndarray) -> np.ndarray:
        """Pixels → trunk lengths, for arrays that start with T."""
        return pixels / self.trunk.reshape(-1, *[1] * (pixels.ndim - 1))

    def height(self, y: np.ndarray) -> np.ndarray:
        """Picture y (T, ...) → trunk lengths over the lowest body point."""
        return self.lengths(self.floor.reshape(-1, *[1] * (y.ndim - 1)) - y)


def _nan_mean(points: np.ndarray) -> np.ndarray:
    """Mean over the second-last axis of (..., N, 2), NaN passed over, NaN if none."""
    seen = np.isfinite(points)
    count = seen.sum(axis=-2)
    total = np.where(seen, points, 0).sum(axis=-2)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def _heights(pair: _Pair) -> dict[str, np.ndarray]:
    result = {
        "hip_height": pair.height(pair.hip[..., 1]),
        "shoulder_height": pair.height(pair.shoulder[..., 1]),
        "head_height": pair.height(pair.head[..., 1]),
        "hip_over_other": pair.lengths(pair.hip[:, ::-1, 1] - pair.hip[..., 1]),
        "shoulder_over_other": pair.lengths(pair.shoulder[:, ::-1, 1] - pair.shoulder[..., 1]),
    }
    for name, joints in (("elbow", ELBOWS), ("knee", KNEES), ("foot", ANKLES)):
        both = pair.height(pair.points[:, :, joints, 1])
        result[f"{name}_height_low"] = both.min(axis=-1)
        result[f"{name}_height_high"] = both.max(axis=-1)
    return result


def _angles(pair: _Pair) -> dict[str, np.ndarray]:
    trunk = pair.shoulder - pair.hip
    up = np.broadcast_to(np.array([0.0, -1.0]), trunk.shape)
    across = pair.points[:, :, SHOULDERS[0]] - pair.points[:, :, SHOULDERS[1]]
    result = {
        "trunk_angle": planar.angle_between(trunk, up),
        "trunk_length": pair.own_trunk,
        "trunk_shown": planar.norm(trunk) / pair.own_trunk,
        "front": planar.cross(trunk, across) / pair.own_trunk**2,
    }
    for name, chain in (
        ("knee", (HIPS, KNEES, ANKLES)),
        ("hip", (SHOULDERS, HIPS, KNEES)),
        ("elbow", (SHOULDERS, ELBOWS, WRISTS)),
    ):
        a, joint, b = (pair.points[:, :, side] for side in chain)
        both = planar.joint_angle(a, joint, b)
        result[f"{name}_angle_min"] = both.min(axis=-1)
        result[f"{name}_angle_max"] = both.max(axis=-1)
    for name, joints in (("knee", KNEES), ("ankle", ANKLES)):
        left, right = (pair.points[:, :, j] for j in joints)
        result[f"{name}_spread"] = pair.lengths(planar.norm(left - right))
    return result


def _reaches(pair: _Pair) -> dict[str, np.ndarray]:
    hip, shoulder, head = (x[:, ::-1] for x in (pair.hip, pair.shoulder, pair.head))
    legs = pair.points[:, ::-1]
    starts, ends = np.array(LEG_SEGMENTS).T
    result = {}
    for name, joints in (("wrists", WRISTS), ("knees", KNEES), ("ankles", ANKLES)):
        own = pair.points[:, :, joints]  # (T, 2, 2, 2)
        to_legs = planar.distance_to_segment(
            own[:, :, :, None], legs[:, :, None, starts], legs[:, :, None, ends]
        )
        distances = {
            "trunk": planar.distance_to_segment(own, hip[:, :, None], shoulder[:, :, None]),
            "head": planar.norm(own - head[:, :, None]),
            "legs": nan_quantile(to_legs, 0.0),
        }
        for target, pixels in distances.items():
            both = pair.lengths(pixels)
            result[f"{name}_to_{target}_near"] = both.min(axis=-1)
            result[f"{name}_to_{target}_far"] = both.max(axis=-1)
    to_trunk = planar.distance_to_segment(pair.head, hip, shoulder)
    return result | {
        "hip_to_shoulder": pair.lengths(planar.norm(pair.hip - shoulder)),
        "hip_to_head": pair.lengths(planar.norm(pair.hip - head)),
        "head_to_trunk": pair.lengths(to_trunk),
        "head_to_hip": pair.lengths(planar.norm(pair.head - hip)),
    }


def _crossings(points: np.ndarray) -> np.ndarray:
    """Which limbs of A (rows) cross which limbs of B, (T, 8, 8)."""
    starts, ends = np.array(LIMB_SEGMENTS).T
    a0, a1 = points[:, 0, starts][:, :, None], points[:, 0, ends][:, :, None]
    b0, b1 = points[:, 1, starts][:, None], points[:, 1, ends][:, None]
    return planar.segments_cross(a0, a1, b0, b1)


def _tangle(pair: _Pair) -> dict[str, np.ndarray]:
    points, known = pair.points, np.isfinite(pair.points).all(axis=(2, 3))
    limb_seen = np.isfinite(points[:, :, 5:]).any(axis=(2, 3))
    measurable = (limb_seen[:, :1] & limb_seen[:, 1:]) | known
    starts, ends = np.array(LIMB_SEGMENTS).T
    limb_crossings = _crossings(points)
    touched = np.stack([limb_crossings.any(axis=2), limb_crossings.any(axis=1)], axis=1)
    over_trunk = planar.segments_cross(
        points[:, :, starts],
        points[:, :, ends],
        pair.hip[:, ::-1, None],
        pair.shoulder[:, ::-1, None],
    )
    other = points[:, ::-1]
    middles = np.concatenate(
        [
            (other[:, :, starts] + other[:, :, ends]) / 2,
            ((pair.hip + pair.shoulder) / 2)[:, ::-1, None],
        ],
        axis=2,
    )
    return {
        "crossing": np.where(measurable, (touched | over_trunk).sum(axis=2), np.nan),
        "legs_enclose": _enclosed(points[:, :, _LEGS_OUTLINE], middles),
        "arms_enclose": _enclosed(points[:, :, _ARMS_OUTLINE], middles),
        "trunk_on_trunk": _trunk_on_trunk(pair),
    }


def _enclosed(outline: np.ndarray, middles: np.ndarray) -> np.ndarray:
    """How many middles (T, 2, 9, 2) lie in the outline (T, 2, 6, 2) → (T, 2)."""
    flat_outline = outline.reshape(-1, *outline.shape[2:])
    flat_middles = middles.reshape(-1, *middles.shape[2:])
    count = planar.inside_polygon(flat_middles, flat_outline).sum(axis=1)
    known = np.isfinite(flat_outline).all(axis=(1, 2))
    known &= np.isfinite(flat_middles).all(axis=2).any(axis=1)
    return np.where(known, count, np.nan).reshape(outline.shape[:2])


def _trunk_on_trunk(pair: _Pair) -> np.ndarray:
    trunk = (pair.shoulder - pair.hip)[:, :, None]
    along = pair.hip[:, :, None] + _TRUNK_SAMPLES[:, None] * trunk
    hip, shoulder = pair.hip[:, ::-1, None], pair.shoulder[:, ::-1, None]
    distance = pair.lengths(planar.distance_to_segment(along, hip, shoulder))
    part = (distance < 0.5).mean(axis=2)
    return np.where(np.isnan(distance).any(axis=2), np.nan, part)


def _summaries(
    times: np.ndarray, keypoints: np.ndarray, pair: _Pair, settings: GeometrySettings
) -> dict[str, np.ndarray]:
    seen = np.isfinite(pair.points).all(axis=-1)
    confidence = np.where(seen, keypoints[..., 2].astype(np.float64), np.nan)
    ears = midpoint(pair.points, EARS)
    face = pair.points[:, :, NOSE] - ears
    toward = (pair.hip + pair.shoulder)[:, ::-1] / 2 - pair.head
    with np.errstate(invalid="ignore", divide="ignore"):
        facing = (face * toward).sum(axis=-1) / (planar.norm(face) * planar.norm(toward))
    moved = change_per_second(times, pair.points, settings.rate_reach_s)
    common = nan_quantile(np.moveaxis(moved, 3, 1).reshape(-1, 2, 34), 0.5)
    own = nan_quantile(planar.norm(moved - common[:, None, None]), 0.5)
    return {
        "face_to_other": facing,
        "speed": pair.lengths(own),
        "confidence": _nan_mean(confidence[..., None])[..., 0],
        "trunk_confidence": confidence[:, :, (*SHOULDERS, *HIPS)].min(axis=-1),
        "seen": seen.mean(axis=-1),
    }


def _pair_columns(pair: _Pair, athlete: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    between = pair.points[:, 0, :, None] - pair.points[:, 1, None]
    low, high = (
        nan_quantile(np.swapaxes(pair.points, 2, 3), 0.0),
        nan_quantile(np.swapaxes(pair.points, 2, 3), 1.0),
    )  # (T, 2, 2)
    shared = np.minimum(high[:, 0], high[:, 1]) - np.maximum(low[:, 0], low[:, 1])
    whole = np.maximum(high[:, 0], high[:, 1]) - np.minimum(low[:, 0], low[:, 1])
    smaller = np.minimum(high[:, 0] - low[:, 0], high[:, 1] - low[:, 1])
    with np.errstate(invalid="ignore", divide="ignore"):
        overlap = np.where(smaller > 0, np.clip(shared, 0, None) / smaller, np.nan)
    trunks = pair.shoulder - pair.hip
    gaps = planar.norm(between).reshape(-1, 17 * 17)
    crossings = _crossings(pair.points).sum(axis=(1, 2))
    return {
        "pair_hip_to_hip": pair.lengths(planar.norm(pair.hip[:, 0] - pair.hip[:, 1])),
        "pair_shoulder_to_shoulder": pair.lengths(
            planar.norm(pair.shoulder[:, 0] - pair.shoulder[:, 1])
        ),
        "pair_head_to_head": pair.lengths(planar.norm(pair.head[:, 0] - pair.head[:, 1])),
        "pair_gap": pair.lengths(nan_quantile(gaps, 0.0)),
        "pair_trunk_overlap": athlete["trunk_on_trunk"].mean(axis=1),
        "pair_trunk_relative_angle": planar.angle_between(trunks[:, 0], trunks[:, 1]),
        "pair_horizontal_overlap": overlap[:, 0],
        "pair_vertical_overlap": overlap[:, 1],
        "pair_width": pair.lengths(whole[:, 0]),
        "pair_height": pair.lengths(whole[:, 1]),
        "pair_crossings": np.where(np.isnan(athlete["crossing"][:, 0]), np.nan, crossings),
        "pair_trunk_length": pair.trunk,
    }


def _over_mat(points: np.ndarray, times: np.ndarray) -> dict[str, np.ndarray]:
    heights = heights_over_mat(points, times)
    return {
        f"{letter}_{point}_over_mat": heights[:, athlete, i]
        for i, point in enumerate(LIFTED)
        for athlete, letter in enumerate("ab")
    }


def _looks(times: np.ndarray, keypoints: np.ndarray) -> dict[str, np.ndarray]:
    states = looks(lift(times, keypoints).states).astype(np.float64)
    states[~np.isfinite(keypoints[..., 0]).any(axis=(1, 2))] = np.nan
    return dict(zip(LOOKS_NAMES, states.T, strict=True))


def _metres(points: np.ndarray, calibration: MatCalibration) -> dict[str, np.ndarray]:
    hips = midpoint(points, HIPS)
    feet = calibration.support(points)  # (T, 2): picture point under the pair
    place = calibration.to_mat(feet)
    heights = calibration.height_over(hips, feet[:, None])
    return {
        "pair_mat_x_m": place[:, 0],
        "pair_mat_y_m": place[:, 1],
        "a_hip_height_m": heights[:, 0],
        "b_hip_height_m": heights[:, 1],
    }
