"""Rise and lift: when the bottom athlete comes up, or carries the other up."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.geometry.skeleton import running_median
from pipeline.settings import MomentsSettings
from pipeline.timeline import ATHLETES, Athlete, Moment, Segment, coarse, other

UNDERNEATH = frozenset(
    {"closed_guard", "open_guard", "half_guard", "side_control", "turtle"}
)  # where a rise is worth knowing; astride the chest it is a bridge


@dataclass(frozen=True)
class Gain:
    """A height that went up and stayed up.

    Attributes
    ----------
    base, cross, peak : int
        Samples: lowest before, first at the gain, first near the highest soon after.
    start_s, end_s : float
        From the lowest point to where it was kept, or the peak if that is later.
    gain : float
        Height at the peak over that at the base.
    kept_s : float
        How long it stayed up, between interpolated crossings.
    """

    base: int
    cross: int
    peak: int
    start_s: float
    end_s: float
    gain: float
    kept_s: float


def gains(
    times: np.ndarray, height: np.ndarray, least: float, within_s: float, keep_s: float
) -> Iterator[Gain]:
    """Find where a height gains on its own running baseline and keeps what it gained.

    The running baseline is the lowest height of the last `within_s` seconds.

    Parameters
    ----------
    times, height : ndarray, (T,)
        Seconds; NaN heights are passed over.
    least : float
        The gain that counts, in the unit of `height`.
    within_s, keep_s : float
        Seconds in which it must be gained, and for which kept.
    """
    seen = np.isfinite(height)
    where = np.flatnonzero(seen)
    t, h = times[seen], height[seen]
    if len(t) == 0:
        return
    rolling = pd.Series(h, index=pd.to_timedelta(t, unit="s")).rolling(
        pd.Timedelta(seconds=within_s + 1e-6)
    )
    candidates = np.flatnonzero(h - rolling.min().to_numpy() >= least - 1e-9).tolist()
    free = resume = 0  # the baseline starts anew after a gain, not after one that wasn't kept
    for i in candidates:
        if i < resume:
            continue
        first = max(free, int(np.searchsorted(t, t[i] - within_s - 1e-6)))
        base = i - int(h[first : i + 1][::-1].argmin())
        level = h[base] + least
        if h[i] < level - 1e-9:
            continue
        down = _falls_below(h, i, level)
        kept_s = _crossing(t, h, down, level) - _crossing(t, h, i, level)
        if kept_s < keep_s - 1e-9:
            resume = down
            continue
        soon = min(down, int(np.searchsorted(t, t[i] + within_s, side="right")))
        peak = i + _first_near_top(h[i:soon], h[base])
        end_s = max(t[peak], min(t[down - 1], t[i] + keep_s))
        yield Gain(
            base=int(where[base]),
            cross=int(where[i]),
            peak=int(where[peak]),
            start_s=float(t[base]),
            end_s=float(end_s),
            gain=float(h[peak] - h[base]),
            kept_s=float(kept_s),
        )
        free = resume = max(peak, int(np.searchsorted(t, end_s)))


def _first_near_top(height: np.ndarray, base: float) -> int:
    """First sample with nine tenths of the whole gain: on a plateau noise picks the highest."""
    enough = base + 0.9 * (height.max() - base)
    return int(np.argmax(height >= enough))


def _falls_below(height: np.ndarray, start: int, level: float) -> int:
    """First sample after `start` under the level, or the number of samples."""
    under = np.flatnonzero(height[start:] < level - 1e-9)
    return start + int(under[0]) if len(under) else len(height)


def _crossing(times: np.ndarray, height: np.ndarray, i: int, level: float) -> float:
    """Time at which the height crosses the level between samples i − 1 and i."""
    if i >= len(times):
        return float(times[-1])
    if i == 0:
        return float(times[0])
    part = (level - height[i - 1]) / (height[i] - height[i - 1])
    return float(times[i - 1] + np.clip(part, 0, 1) * (times[i] - times[i - 1]))


def find_elevations(
    features: pd.DataFrame, segments: Sequence[Segment], settings: MomentsSettings
) -> list[Moment]:
    """Find every rise and lift; parameters as for `pipeline.moments.find_moments`."""
    times = features.index.to_numpy(np.float64)
    found: list[Moment] = []
    for athlete in ATHLETES:
        found += _rises(times, features, segments, athlete, settings)
        found += _lifts(times, features, segments, athlete, settings)
    return found


def _rises(
    times: np.ndarray,
    features: pd.DataFrame,
    segments: Sequence[Segment],
    athlete: Athlete,
    settings: MomentsSettings,
) -> Iterator[Moment]:
    own = athlete.lower()
    sure = _underneath(times, segments, athlete)
    height = _steady(times, _height(features, own, "shoulder"), settings)
    trunk = features[f"{own}_trunk_angle"].to_numpy()
    found = gains(times, height, settings.rise_gain, settings.rise_within_s, settings.rise_keep_s)
    for g in found:
        if not sure[g.base] > 0:
            continue
        yield _moment(
            "rise",
            athlete,
            g,
            times,
            sure[g.base] * _trust(features, own, g),
            {
                "gain_trunk_lengths": g.gain,
                "kept_s": g.kept_s,
                "baseline_trunk_lengths": float(height[g.base]),
                "trunk_angle_before_degrees": float(trunk[g.base]),
                "trunk_angle_at_peak_degrees": float(trunk[g.peak]),
            },
        )


def _lifts(
    times: np.ndarray,
    features: pd.DataFrame,
    segments: Sequence[Segment],
    athlete: Athlete,
    settings: MomentsSettings,
) -> Iterator[Moment]:
    top = other(athlete).lower()
    sure = _underneath(times, segments, athlete)
    hips = _height(features, top, "hip")
    height = _steady(times, hips, settings)
    above = (hips - _height(features, athlete.lower(), "hip")).to_numpy()
    overlap = features["pair_horizontal_overlap"].to_numpy()
    carried = (above > 0) & (overlap >= settings.lift_overlap)
    carried &= _off_the_mat(times, features, top, settings)
    found = gains(times, height, settings.lift_gain, settings.lift_within_s, settings.lift_keep_s)
    for g in found:
        last = max(g.peak, int(np.searchsorted(times, g.end_s, side="right")) - 1)
        where = g.cross + int(carried[g.cross : last + 1].argmax())
        if not (sure[g.base] > 0 and carried[where]):
            continue
        yield _moment(
            "lift",
            athlete,
            g,
            times,
            sure[g.base] * _trust(features, top, g),
            {
                "gain_trunk_lengths": g.gain,
                "kept_s": g.kept_s,
                "baseline_trunk_lengths": float(height[g.base]),
                "hips_above_other_trunk_lengths": float(above[where]),
                "horizontal_overlap": float(overlap[where]),
            },
        )


def _off_the_mat(
    times: np.ndarray, features: pd.DataFrame, top: str, settings: MomentsSettings
) -> np.ndarray:
    """Where neither a foot nor a knee of `top` rests on the mat, (T,); unseen ones don't count."""
    foot = _steady(times, _height(features, top, "foot"), settings)
    knee = _steady(times, features.get(f"{top}_knee_over_mat", foot * np.nan), settings)
    seen = np.isfinite(foot) | np.isfinite(knee)
    return seen & ~(foot < settings.lift_foot) & ~(knee < settings.lift_knee)


def _underneath(times: np.ndarray, segments: Sequence[Segment], athlete: Athlete) -> np.ndarray:
    """Confidence (T,) that `athlete` is underneath; 0 where it isn't."""
    sure = np.zeros(len(times))
    for s in segments:
        if s.top == other(athlete) and coarse(s.position) in UNDERNEATH:
            sure[(times >= s.start_s) & (times < s.end_s)] = s.confidence
    return sure


def _height(features: pd.DataFrame, who: str, point: str) -> pd.Series:
    """Height over the mat where it is told, else as it looks in the picture."""
    over_mat = f"{who}_{point}_over_mat"
    if over_mat in features and features[over_mat].notna().any():
        return features[over_mat]
    return features[f"{who}_foot_height_low" if point == "foot" else f"{who}_{point}_height"]


def _steady(
    times: np.ndarray, height: pd.Series | np.ndarray, settings: MomentsSettings
) -> np.ndarray:
    values = np.asarray(height, np.float64)
    smooth = running_median(times, values, settings.steady_s)
    return np.where(np.isnan(values), np.nan, smooth)


def _trust(features: pd.DataFrame, who: str, g: Gain) -> float:
    """Mean confidence of the trunk's keypoints over the gain."""
    values = features[f"{who}_trunk_confidence"].to_numpy()[g.base : g.peak + 1]
    values = values[np.isfinite(values)]
    return float(np.clip(values.mean(), 0, 1)) if len(values) else 0.5


def _moment(
    kind: str,
    athlete: Athlete,
    g: Gain,
    times: np.ndarray,
    confidence: float,
    evidence: dict[str, float],
) -> Moment:
    return Moment(
        start_s=g.start_s,
        peak_s=float(times[g.peak]),
        end_s=max(g.end_s, float(times[g.peak])),
        kind=kind,
        athlete=athlete,
        strength=g.gain,
        confidence=float(np.clip(confidence, 0, 1)),
        evidence={k: v for k, v in evidence.items() if np.isfinite(v)},
    )
