"""Two athletes through time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from pipeline.athletes import clothing as cloth
from pipeline.athletes.identity import resolve
from pipeline.athletes.top import who_is_on_top
from pipeline.bodies import COCO_KEYPOINTS
from pipeline.errors import MatlineError
from pipeline.settings import AthletesSettings

_AXES = ("x", "y", "confidence")


@dataclass(frozen=True)
class Tracks:
    """Athletes A (index 0) and B (index 1) through time.

    Attributes
    ----------
    times : ndarray, float64, (T,)
        Seconds from the first picture.
    keypoints : ndarray, float32, (T, 2, 17, 3)
        x, y in source pixels, confidence 0–1; COCO order; NaN = not seen.
    top : ndarray, (T,)
        Probability that A is on top; NaN = nothing to tell it by.
    identity_confidence : ndarray, (T,)
        Probability that A is who was A at the first sample.
    clothing : ndarray, float32, (T, 2, clothing.LENGTH)
        What each wore, as seen; zeros where not seen.
    top_said : ndarray, (T,)
        What the reader itself said of `top`; NaN = nothing.
    positions : DataFrame or None
        The reader's position scores, index ``time_s``; None if it has no opinion at all.
    """

    times: np.ndarray
    keypoints: np.ndarray
    top: np.ndarray
    identity_confidence: np.ndarray
    clothing: np.ndarray
    top_said: np.ndarray
    positions: pd.DataFrame | None = None

    def __len__(self) -> int:
        return len(self.times)

    @classmethod
    def from_keypoints(
        cls,
        times: np.ndarray,
        keypoints: np.ndarray,
        clothing: np.ndarray | None = None,
        top_said: np.ndarray | None = None,
        positions: pd.DataFrame | None = None,
        settings: AthletesSettings | None = None,
    ) -> Tracks:
        """Make tracks of two skeletons a sample: identity is sorted out, then who is on top.

        Parameters
        ----------
        times : array_like, (T,)
        keypoints : array_like, (T, 2, 17, 3)
            Two bodies a sample, in an order that may change from sample to sample.
        clothing : ndarray, (T, 2, clothing.LENGTH), optional
        top_said : ndarray, (T,), optional
            Probability that the first body is on top.
        positions : DataFrame, optional
        settings : AthletesSettings, optional

        Raises
        ------
        MatlineError
            If shapes don't fit or times don't increase.
        """
        settings = settings or AthletesSettings()
        times = np.asarray(times, dtype=np.float64)
        keypoints = np.asarray(keypoints, dtype=np.float32)
        _check(times, keypoints)
        count = len(times)
        if clothing is None:
            clothing = np.zeros((count, 2, cloth.LENGTH), dtype=np.float32)
        if top_said is None:
            top_said = np.full(count, np.nan)
        identity = resolve(times, keypoints, clothing, settings)
        tracks = cls(
            times=times,
            keypoints=keypoints,
            top=np.full(count, np.nan),
            identity_confidence=identity.confidence,
            clothing=clothing,
            top_said=top_said,
            positions=positions,
        )._exchanged(identity.exchanged)
        return replace(
            tracks, top=who_is_on_top(times, tracks.keypoints, tracks.top_said, settings)
        )

    def swapped(self, from_s: float = -np.inf, to_s: float = np.inf) -> Tracks:
        """Return the tracks with A and B exchanged in ``[from_s, to_s)``."""
        return self._exchanged((self.times >= from_s) & (self.times < to_s))

    def _exchanged(self, where: np.ndarray) -> Tracks:
        flip = where[:, None, None]
        return replace(
            self,
            keypoints=np.where(flip[..., None], self.keypoints[:, ::-1], self.keypoints),
            clothing=np.where(flip, self.clothing[:, ::-1], self.clothing),
            top=np.where(where, 1 - self.top, self.top),
            top_said=np.where(where, 1 - self.top_said, self.top_said),
        )

    def to_frame(self) -> pd.DataFrame:
        """Return everything as one table, index ``time_s``; `from_frame` reads it back."""
        columns: dict[str, np.ndarray] = {}
        for i, letter in enumerate("ab"):
            for j, name in enumerate(COCO_KEYPOINTS):
                for axis, what in enumerate(_AXES):
                    columns[f"{letter}_{name}_{what}"] = self.keypoints[:, i, j, axis]
        for i, letter in enumerate("ab"):
            for n in range(cloth.LENGTH):
                columns[f"{letter}_clothing_{n}"] = self.clothing[:, i, n]
        columns |= {
            "top": self.top,
            "top_said": self.top_said,
            "identity_confidence": self.identity_confidence,
        }
        if self.positions is not None:
            for name in self.positions.columns:
                columns[f"position_{name}"] = self.positions[name].to_numpy()
        return pd.DataFrame(columns, index=pd.Index(self.times, name="time_s"))

    @classmethod
    def from_frame(cls, frame: pd.DataFrame) -> Tracks:
        """Read what `to_frame` gave.

        Raises
        ------
        MatlineError
            If a column is missing.
        """
        body = [f"{a}_{n}_{w}" for a in "ab" for n in COCO_KEYPOINTS for w in _AXES]
        worn = [f"{a}_clothing_{n}" for a in "ab" for n in range(cloth.LENGTH)]
        missing = {*body, "top", "top_said", "identity_confidence"} - set(frame)
        if missing:
            raise MatlineError(
                f"Tracks table: column “{min(missing)}” is missing; read the footage again."
            )
        scores = [c for c in frame.columns if c.startswith("position_")]
        positions = frame[scores].rename(columns=lambda c: c.removeprefix("position_"))
        return cls(
            times=frame.index.to_numpy(np.float64),
            keypoints=frame[body].to_numpy(np.float32).reshape(-1, 2, 17, 3),
            top=frame["top"].to_numpy(np.float64),
            identity_confidence=frame["identity_confidence"].to_numpy(np.float64),
            clothing=frame.reindex(columns=worn, fill_value=0)
            .to_numpy(np.float32)
            .reshape(-1, 2, cloth.LENGTH),
            top_said=frame["top_said"].to_numpy(np.float64),
            positions=positions if scores else None,
        )


def concatenate(parts: Sequence[Tracks], settings: AthletesSettings | None = None) -> Tracks:
    """Join tracks read in chunks: who is A is settled over all of them at once.

    Parameters
    ----------
    parts : sequence of Tracks
        In order of time.
    settings : AthletesSettings, optional

    Returns
    -------
    Tracks

    Raises
    ------
    MatlineError
        If a part starts before the one before it ends.
    """
    parts = [p for p in parts if len(p)]
    if not parts:
        return Tracks.from_keypoints(np.zeros(0), np.zeros((0, 2, 17, 3)), settings=settings)
    tables = [p.positions for p in parts if p.positions is not None]
    times = np.concatenate([p.times for p in parts])
    positions = None
    if tables:
        index = pd.Index(times, name="time_s")
        positions = pd.concat(tables).reindex(index)
    return Tracks.from_keypoints(
        times,
        np.concatenate([p.keypoints for p in parts]),
        np.concatenate([p.clothing for p in parts]),
        np.concatenate([p.top_said for p in parts]),
        positions,
        settings,
    )


def _check(times: np.ndarray, keypoints: np.ndarray) -> None:
    if times.ndim != 1 or keypoints.shape != (len(times), 2, 17, 3):
        raise MatlineError(
            f"Tracks: keypoints of shape {keypoints.shape} don't fit {times.shape} times; "
            "give (T, 2, 17, 3) for T times."
        )
    if not np.isfinite(times).all() or (np.diff(times) <= 0).any():
        raise MatlineError(
            "Tracks: sample times must be finite and strictly increasing; join chunks in order "
            "and without overlap."
        )
