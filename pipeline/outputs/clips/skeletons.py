"""Skeletons between samples, and where heads are."""

from __future__ import annotations

import numpy as np

_HEAD = slice(0, 5)
_SHOULDERS, _HIPS = (5, 6), (11, 12)


def keypoints_at(
    times: np.ndarray, keypoints: np.ndarray, time_s: float, bridge_s: float
) -> np.ndarray:
    """Return skeletons at a time between samples, on a straight line from one to the next.

    Parameters
    ----------
    times : ndarray, (T,)
    keypoints : ndarray, (T, 2, 17, 3)
    time_s : float
    bridge_s : float
        Longest time between two samples to draw a line across.

    Returns
    -------
    ndarray, (2, 17, 3)
        NaN where a keypoint isn't seen at both samples, or the samples are too far apart.
    """
    after = int(np.searchsorted(times, time_s))
    if after < len(times) and abs(times[after] - time_s) < 1e-6:
        return keypoints[after]
    if after in (0, len(times)) or times[after] - times[after - 1] > bridge_s:
        return np.full(keypoints.shape[1:], np.nan, dtype=keypoints.dtype)
    share = (time_s - times[after - 1]) / (times[after] - times[after - 1])
    return keypoints[after - 1] + np.float32(share) * (keypoints[after] - keypoints[after - 1])


def nearby(times: np.ndarray, keypoints: np.ndarray, time_s: float, reach_s: float) -> np.ndarray:
    """Return the samples around a time, the nearest on either side within reach: (N, 2, 17, 3)."""
    after = int(np.searchsorted(times, time_s))
    around = [i for i in (after - 1, after) if 0 <= i < len(times)]
    return keypoints[[i for i in around if abs(times[i] - time_s) <= reach_s]]


def head_circle(body: np.ndarray, radius: float) -> tuple[float, float, float] | None:
    """Return x, y and radius in pixels of what hides a head, or None if nothing says where it is.

    Parameters
    ----------
    body : ndarray, (17, 3)
        x, y in pixels, confidence; NaN where not seen.
    radius : float
        In trunk lengths.

    Notes
    -----
    Without a keypoint on the head it is taken to be over the shoulders, in line with the trunk.
    """
    head = body[_HEAD, :2]
    head = head[np.isfinite(head).all(1)]
    shoulders, hips = _middle(body, _SHOULDERS), _middle(body, _HIPS)
    trunk = float(np.hypot(*(shoulders - hips)))
    spread = 0.0 if len(head) < 2 else float(np.ptp(head, axis=0).max())
    if len(head):
        centre = head.mean(0)
        reach = max(radius * trunk, 1.2 * spread) if np.isfinite(trunk) else 1.5 * spread
        return (float(centre[0]), float(centre[1]), reach) if reach > 0 else None
    if np.isfinite(trunk):
        centre = shoulders + radius * (shoulders - hips)
        return float(centre[0]), float(centre[1]), 1.5 * radius * trunk
    return None


def _middle(body: np.ndarray, pair: tuple[int, int]) -> np.ndarray:
    return body[list(pair), :2].mean(0)
