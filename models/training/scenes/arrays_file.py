"""Arrays on disk, written whole or not at all."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np


def write_arrays(path: str | Path, arrays: dict[str, np.ndarray], compressed: bool = True) -> None:
    """Write named arrays as one ``.npz``, atomically and without pickles."""
    target = Path(path)
    temporary = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        with temporary.open("wb") as out:
            (np.savez_compressed if compressed else np.savez)(out, **arrays)  # type: ignore[arg-type]
        os.replace(temporary, target)
    finally:
        temporary.unlink(missing_ok=True)
