"""Solved pairs on disk: plain arrays in one ``.npz``, no pickles, read back as arrays."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Literal, overload

import numpy as np

from pipeline.errors import MatlineError

from .arrays_file import write_arrays
from .joints import JOINT_NAMES
from .packing import is_packed, packed, unpacked
from .plausibility import Quality
from .pose import BodyPose, PosedPair
from .solver import SolvedPair

_TOPS: tuple[Literal["A", "B"] | None, ...] = (None, "A", "B")
_PER_PAIR = ("template", "position", "top", "mirrored", "person",
             "joints", "rotation", "translation", "quality")  # fmt: skip


def save_pairs(path: str | Path, solved: Sequence[SolvedPair], compact: bool = False) -> None:
    """Write solved pairs atomically, the rejected ones too: their share is part of the figures.

    Parameters
    ----------
    path : str or Path
    solved : sequence of SolvedPair
        At least one.
    compact : bool
        As a pack of about 250 bytes a pair (`packing`), exact to a tenth of a millimetre.
    """
    pairs = [s.pair for s in solved]
    templates, template = np.unique([p.template for p in pairs], return_inverse=True)
    positions, position = np.unique([p.position for p in pairs], return_inverse=True)

    def stacked(field: str) -> np.ndarray:
        return np.array([[getattr(b, field) for b in p.bodies] for p in pairs])

    arrays = {
        "templates": templates,
        "positions": positions,
        "joint_names": np.array(JOINT_NAMES),
        "template": template.astype(np.int32),
        "position": position.astype(np.int16),
        "top": np.array([_TOPS.index(p.top) for p in pairs], np.int8),
        "mirrored": np.array([p.mirrored for p in pairs]),
        "person": stacked("person").astype(np.int16),
        "joints": stacked("joints").astype(np.float32),
        "rotation": stacked("rotation").astype(np.float32),
        "translation": stacked("translation").astype(np.float32),
        "quality": np.array(
            [
                (s.quality.contact, s.quality.worst_contact, s.quality.penetration, s.quality.floor)
                for s in solved
            ],
            np.float32,
        ),
    }
    write_arrays(path, packed(arrays) if compact else arrays)


class Pairs(Sequence[PosedPair]):
    """Solved pairs as arrays that read like a list of `PosedPair`.

    Attributes
    ----------
    templates, positions : ndarray of str
        Names that ``template`` and ``position`` index.
    template, position, top, mirrored : ndarray, (N,)
        ``top``: 0 none, 1 A, 2 B.
    person : ndarray, int16, (N, 2)
    joints : ndarray, float32, (N, 2, J)
    rotation : ndarray, float32, (N, 2, 3, 3)
    translation : ndarray, float32, (N, 2, 3)
    quality : ndarray, float32, (N, 4)
        Contact, worst contact, penetration, floor; metres.
    """

    def __init__(self, arrays: dict[str, np.ndarray]):
        self.templates, self.positions = arrays["templates"], arrays["positions"]
        self.template, self.position = arrays["template"], arrays["position"]
        self.top, self.mirrored, self.person = arrays["top"], arrays["mirrored"], arrays["person"]
        self.joints, self.rotation = arrays["joints"], arrays["rotation"]
        self.translation, self.quality = arrays["translation"], arrays["quality"]

    def __len__(self) -> int:
        return len(self.template)

    @overload
    def __getitem__(self, index: int) -> PosedPair: ...
    @overload
    def __getitem__(self, index: slice) -> list[PosedPair]: ...
    def __getitem__(self, index: int | slice) -> PosedPair | list[PosedPair]:
        if isinstance(index, slice):
            return [self[i] for i in range(*index.indices(len(self)))]
        a, b = (
            BodyPose(
                int(self.person[index, k]),
                self.joints[index, k],
                self.rotation[index, k],
                self.translation[index, k],
            )
            for k in (0, 1)
        )
        return PosedPair(
            str(self.templates[self.template[index]]),
            str(self.positions[self.position[index]]),
            _TOPS[self.top[index]],
            (a, b),
            bool(self.mirrored[index]),
        )

    def where(self, rows: np.ndarray) -> Pairs:
        """Return the pairs of some rows, as numbers or as bool (N,)."""
        chosen = {name: getattr(self, name)[rows] for name in _PER_PAIR}
        return Pairs(chosen | {"templates": self.templates, "positions": self.positions})

    def solved(self) -> Iterator[SolvedPair]:
        """Each pair with its quality."""
        for i in range(len(self)):
            yield SolvedPair(self[i], Quality(*(float(q) for q in self.quality[i])))


def load_pairs(*paths: str | Path, rejected: bool = False) -> Pairs:
    """Read the pairs of one or several files as one sequence.

    Parameters
    ----------
    *paths : str or Path
    rejected : bool
        Whether to include the pairs that are not plausible.

    Raises
    ------
    MatlineError
        If a file is missing, is not of this kind, or was made with other joints.
    """
    files = [_read(Path(path)) for path in paths]
    if not files:
        raise MatlineError("No file of pairs was named: give at least one.")
    merged = {name: np.concatenate([f[name] for f in files]) for name in _PER_PAIR[2:]}
    for names, rows in (("templates", "template"), ("positions", "position")):
        merged[names] = np.unique(np.concatenate([f[names] for f in files]))
        found = [np.searchsorted(merged[names], f[names])[f[rows]] for f in files]
        merged[rows] = np.concatenate(found).astype(np.int32)
    if not rejected:
        keep = [Quality(*row).accepted for row in merged["quality"].tolist()]
        merged |= {name: merged[name][keep] for name in _PER_PAIR}
    return Pairs(merged)


def _read(path: Path) -> dict[str, np.ndarray]:
    try:
        with np.load(path, allow_pickle=False) as file:
            stored = unpacked(dict(file)) if is_packed(file) else file
            data = {name: stored[name] for name in ("templates", "positions", *_PER_PAIR)}
            joints = tuple(str(name) for name in stored["joint_names"])
    except FileNotFoundError as error:
        raise MatlineError(
            f"There are no pairs at {path}: make them with "
            "python -m models.training.scenes positions solve --out FILE."
        ) from error
    except (KeyError, ValueError, OSError) as error:
        raise MatlineError(f"{path} is not a file of pairs ({error}): make it again.") from error
    if joints != JOINT_NAMES:
        raise MatlineError(f"{path} was made with other joints: make it again.")
    return data
