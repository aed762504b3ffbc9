"""One sample's people: small numbers kept from a frame, the frame itself let go."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pipeline.athletes import clothing
from pipeline.bodies import Look
from pipeline.geometry import trunk_length
from pipeline.geometry.skeleton import seen_points
from pipeline.settings import AthletesSettings


@dataclass(frozen=True)
class People:
    """The people of one sample, duplicates left out.

    Attributes
    ----------
    time_s : float
    keypoints : ndarray, float32, (K, 17, 3)
        K ≤ `AthletesSettings.max_people`, largest and surest first.
    clothing : ndarray, float32, (K, clothing.LENGTH)
    trunk : ndarray, (K,)
        Trunk length in pixels.
    doubt : ndarray, (K,)
        −log of the reader's score, plus what speaks against an athlete (outside the region).
    top : float or None
        Probability that person `top_of` is on top.
    pair : bool
        They are two, and the reader is sure that they are the pair.
    other : People or None
        The same sample read another way, where it is not sure who the pair is.
    """

    time_s: float
    keypoints: np.ndarray
    clothing: np.ndarray
    trunk: np.ndarray
    doubt: np.ndarray
    top: float | None = None
    top_of: int = -1
    pair: bool = False
    positions: dict[str, float] | None = None
    other: People | None = None

    def __len__(self) -> int:
        return len(self.keypoints)

    @classmethod
    def from_look(
        cls, time_s: float, image: np.ndarray, look: Look, settings: AthletesSettings
    ) -> People:
        """Keep what matters of a look."""
        kept = _distinct(look, settings)
        keypoints = np.array([look.bodies[i].keypoints for i in kept], dtype=np.float32)
        keypoints = keypoints.reshape(-1, 17, 3)
        doubt = [-np.log(max(look.bodies[i].score, 0.05)) for i in kept]
        described = [
            clothing.describe(image, k, look.bodies[i].outline)
            for i, k in zip(kept, keypoints, strict=True)
        ]
        return cls(
            time_s=time_s,
            keypoints=keypoints,
            clothing=np.array(described, dtype=np.float32).reshape(-1, clothing.LENGTH),
            trunk=_trunks(keypoints, settings),
            doubt=np.array(doubt) + _outside(keypoints, look),
            top=look.top if 0 in kept else None,
            top_of=kept.index(0) if 0 in kept else -1,
            pair=look.pair and len(kept) == 2,
            positions=dict(look.positions) if look.positions else None,
        )

    def readings(self) -> list[People]:
        """Return the sample as it was read, and as it was read another way."""
        return [self] if self.other is None else [self, self.other]

    def bodies(self) -> People:
        """Return the bodies of all readings, one reading after the other, as of one."""
        if self.other is None:
            return self
        both = self.readings()
        return replace(
            self,
            keypoints=np.concatenate([p.keypoints for p in both]),
            clothing=np.concatenate([p.clothing for p in both]),
            trunk=np.concatenate([p.trunk for p in both]),
            doubt=np.concatenate([p.doubt for p in both]),
            pair=all(p.pair for p in both),
            other=None,
        )

    def chosen(self, pair: np.ndarray) -> tuple[People, np.ndarray]:
        """Return the reading that two of `bodies` are from, and their indexes (2,) there."""
        if self.other is None or pair.max() < len(self):
            return self, pair
        return self.other, np.where(pair < 0, -1, pair - len(self))


def same_person(a: np.ndarray, b: np.ndarray, trunk: float, tolerance: float) -> float:
    """Return how surely two skeletons are one person found twice, 0–1.

    The mean over shared keypoints of exp(−d²/2(tolerance · trunk)²): the COCO standard's
    object keypoint similarity with one tolerance for all keypoints.
    """
    squared = ((a[:, :2] - b[:, :2]) ** 2).sum(axis=1)
    shared = np.isfinite(squared)
    if shared.sum() < 4 or not trunk > 0:
        return 0.0
    return float(np.exp(-squared[shared] / (2 * (tolerance * trunk) ** 2)).mean())


def _trunks(keypoints: np.ndarray, settings: AthletesSettings) -> np.ndarray:
    points = seen_points(keypoints, settings.min_confidence)
    measured = trunk_length(points) if len(points) else np.zeros(0)
    if len(points) == 0:
        return measured
    # With few keypoints a body is still about so large as the spread of what is seen.
    spread = np.nanmax(np.where(np.isnan(points), -np.inf, points), axis=(1, 2)) - np.nanmin(
        np.where(np.isnan(points), np.inf, points), axis=(1, 2)
    )
    return np.where(np.isnan(measured), np.maximum(spread / 3, 1.0), np.maximum(measured, 1.0))


def _distinct(look: Look, settings: AthletesSettings) -> list[int]:
    """Indexes of bodies worth keeping, most important first, one for each person.

    A pair reader knows that its two bodies are two; in back control they lie as one.
    """
    keypoints = np.array([b.keypoints for b in look.bodies], dtype=np.float32).reshape(-1, 17, 3)
    seen = np.isfinite(seen_points(keypoints, settings.min_confidence)).all(axis=2).sum(axis=1)
    usable = [i for i in range(len(keypoints)) if seen[i] >= settings.min_keypoints]
    trunk = _trunks(keypoints, settings)
    scores = np.array([b.score for b in look.bodies])
    usable.sort(key=lambda i: -float(trunk[i] * scores[i]))
    kept: list[int] = []
    for i in usable:
        alike = (
            same_person(
                keypoints[i], keypoints[j], max(trunk[[i, j]]), settings.duplicate_tolerance
            )
            for j in kept
        )
        if look.pair or all(s < settings.duplicate_similarity for s in alike):
            kept.append(i)
    return kept[: settings.max_people]


def _outside(keypoints: np.ndarray, look: Look) -> np.ndarray:
    """Cost of keypoints outside the region the reader was given, 0–2 a body."""
    if look.region is None or len(keypoints) == 0:
        return np.zeros(len(keypoints))
    x, y = keypoints[..., 0], keypoints[..., 1]
    r = look.region
    inside = (x >= r.x0) & (x < r.x1) & (y >= r.y0) & (y < r.y1)
    seen = np.isfinite(x) & np.isfinite(y)
    return 2 * (seen & ~inside).sum(axis=1) / np.maximum(seen.sum(axis=1), 1)
