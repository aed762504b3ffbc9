"""What a night will do, before it does it."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from pathlib import Path

from pipeline.errors import MatlineError
from pipeline.footage import FootageInfo
from pipeline.overnight.chunk import Chunk
from pipeline.overnight.clock import length

BYTES_AN_HOUR = 100 << 20
"""Of footage, for what is kept of it (samples, skeletons, features): twice what two people would
take without compression."""

COPY_BYTES_AN_HOUR = 1300 << 20
"""Of a copy for browsers: 3 Mbit/s, more than x264 makes of a mat at its size and quality."""


@dataclass(frozen=True)
class PlannedFile:
    """One file of a night.

    Attributes
    ----------
    path : Path
    info : FootageInfo or None
        None if it can't be read, or was not looked at before the time was up.
    chunks : tuple of Chunk
    left : tuple of Chunk
        Those still to be read.
    problem : str
        Why it can't be read; empty if it can.
    copied : bool
        Whether a copy for browsers is to be made of it.
    """

    path: Path
    info: FootageInfo | None = None
    chunks: tuple[Chunk, ...] = ()
    left: tuple[Chunk, ...] = ()
    problem: str = ""
    copied: bool = False

    @property
    def duration_s(self) -> float:
        """Seconds of footage."""
        return self.info.duration_s if self.info else 0.0

    @property
    def left_s(self) -> float:
        """Seconds of footage still to be read."""
        return sum(min(c.end_s, self.duration_s) - c.start_s for c in self.left)


@dataclass(frozen=True)
class Plan:
    """A night's files in the order asked for.

    Attributes
    ----------
    files : tuple of PlannedFile
    speed : float
        Seconds of footage that one worker reads a second, as far as is known.
    """

    files: tuple[PlannedFile, ...]
    speed: float

    @property
    def duration_s(self) -> float:
        """Seconds of footage in all."""
        return sum(file.duration_s for file in self.files)

    @property
    def left_s(self) -> float:
        """Seconds of footage still to be read."""
        return sum(file.left_s for file in self.files)

    def expected_s(self, workers: int) -> float:
        """Return about how many seconds the work will take."""
        return self.left_s / (self.speed * workers)

    @property
    def disk_bytes(self) -> int:
        """What the reading, and the copies for browsers, will take on disk, about."""
        copied_s = sum(file.duration_s for file in self.files if file.copied)
        return int((self.left_s * BYTES_AN_HOUR + copied_s * COPY_BYTES_AN_HOUR) / 3600)


def check_disk(plan: Plan, root: Path) -> None:
    """Refuse a night that would fill the disk.

    Raises
    ------
    MatlineError
        Says what is needed and what is there.
    """
    free = shutil.disk_usage(root).free
    if plan.disk_bytes > free:
        longest = max(plan.files, key=lambda file: file.duration_s)
        raise MatlineError(
            f"Reading this takes about {plan.disk_bytes / 1e9:.1f} GB, but the disk of {root} has "
            f"{free / 1e9:.1f} GB left; make room, or choose another place with --library. The "
            f"longest file is {longest.path}, {length(longest.duration_s)}."
        )
