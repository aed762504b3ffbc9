"""A bout as one small file to be filmed elsewhere: poses, skeletons, truth; numbers only.

A machine that films needs neither the solver nor the rest of the project for it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from pipeline.errors import MatlineError
from pipeline.timeline.model import Athlete

from .arrays_file import write_arrays
from .pose import BodyPose, PosedPair

if TYPE_CHECKING:
    from .bouts import Bout

_TOPS: dict[str, Athlete | None] = {"": None, "A": "A", "B": "B"}


@dataclass(frozen=True, eq=False)
class Played:
    """Two bodies through time, and what is true of them.

    Attributes
    ----------
    who : two int
        Rows of the cast.
    times : ndarray, float64, (T,)
        Seconds.
    joints : ndarray, float32, (T, 2, J)
        Radians.
    rotation : ndarray, float32, (T, 2, 3, 3)
    translation : ndarray, float32, (T, 2, 3)
        Metres.
    keypoints : ndarray, float32, (T, 2, 17, 3)
        World, metres.
    position, top : ndarray of str, (T,)
        True labels; an empty top is nobody's.
    timeline : str
        The true timeline, JSON.
    """

    who: tuple[int, int]
    times: np.ndarray
    joints: np.ndarray
    rotation: np.ndarray
    translation: np.ndarray
    keypoints: np.ndarray
    position: np.ndarray
    top: np.ndarray
    timeline: str

    @classmethod
    def of(cls, bout: Bout, every: int = 1) -> Played:
        """Keep every n-th sample of a bout."""
        from pipeline.timeline.records import timeline_to_json

        rows = np.arange(0, len(bout.times), every)
        pairs = [bout.pair(int(row)) for row in rows]
        motion = bout.motion
        return cls(
            bout.who,
            bout.times[rows],
            motion.joints[rows].astype(np.float32),
            motion.rotation[rows].astype(np.float32),
            motion.translation[rows].astype(np.float32),
            bout.keypoints[rows],
            np.array([pair.position for pair in pairs]),
            np.array([pair.top or "" for pair in pairs]),
            timeline_to_json(bout.timeline),
        )

    def pair(self, sample: int) -> PosedPair:
        """Return one sample as a posed pair, labelled with the truth."""
        first, second = (
            BodyPose(
                self.who[body],
                self.joints[sample, body],
                self.rotation[sample, body],
                self.translation[sample, body],
            )
            for body in (0, 1)
        )
        position = str(self.position[sample])
        return PosedPair(position, position, _TOPS[str(self.top[sample])], (first, second))

    def save(self, path: Path) -> None:
        """Write one file, atomically: angles to 1/1000 radian, places to a millimetre."""
        arrays = {
            "who": np.array(self.who, np.int16),
            "times": self.times,
            "joints": np.round(1000 * self.joints).astype(np.int16),
            "axes": np.round(20000 * self.rotation[..., :2]).astype(np.int16),
            "translation": np.round(1000 * self.translation).astype(np.int16),
            "keypoints": np.round(1000 * self.keypoints).astype(np.int16),
            "position": self.position,
            "top": self.top,
            "timeline": np.array(self.timeline),
        }
        write_arrays(path, arrays)

    @classmethod
    def load(cls, path: Path) -> Played:
        """Read what `save` wrote.

        Raises
        ------
        MatlineError
            If it is something else.
        """
        try:
            with np.load(path, allow_pickle=False) as stored:
                data = {name: stored[name] for name in stored.files}
            first, second = data["who"].tolist()
            return cls(
                (first, second),
                data["times"],
                data["joints"].astype(np.float32) / 1000,
                _turns(data["axes"].astype(np.float32)),
                data["translation"].astype(np.float32) / 1000,
                data["keypoints"].astype(np.float32) / 1000,
                data["position"],
                data["top"],
                str(data["timeline"]),
            )
        except (KeyError, ValueError, OSError) as error:
            raise MatlineError(f"{path} is not a bout to be filmed ({error}).") from error


def _turns(axes: np.ndarray) -> np.ndarray:
    """Rotations from their first two columns, (…, 3, 2): Gram and Schmidt."""
    x = axes[..., 0] / np.linalg.norm(axes[..., 0], axis=-1, keepdims=True)
    y = axes[..., 1] - (x * axes[..., 1]).sum(-1, keepdims=True) * x
    y = y / np.linalg.norm(y, axis=-1, keepdims=True)
    return np.stack([x, y, np.cross(x, y)], axis=-1)


def load_played(folder: Path) -> dict[str, Played]:
    """Read all bouts of a folder, by name, in order."""
    paths: Sequence[Path] = sorted(folder.glob("*.npz"))
    if not paths:
        raise MatlineError(f"There are no bouts to film in {folder}; make some with bouts make.")
    return {path.stem: Played.load(path) for path in paths}
