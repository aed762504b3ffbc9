"""Arrays of pairs made compact: what a long run found, small enough to carry and to keep.

Joint angles are 16-bit fractions of the joints' range, which is forty times as fine as 16-bit
floats; turns are quaternions of 16-bit fractions; names are one compressed text.
"""

from __future__ import annotations

import zlib
from collections.abc import Container, Mapping

import numpy as np
from scipy.spatial.transform import Rotation

from .joints import HIGH, LOW

_SPAN = 65535
_UNIT = 32767


def is_packed(names: Container[str]) -> bool:
    """Whether these are the names of packed arrays."""
    return "turn" in names


def packed(arrays: Mapping[str, np.ndarray]) -> dict[str, np.ndarray]:
    """Make the arrays of a file of pairs compact.

    Parameters
    ----------
    arrays : mapping of str to ndarray
        As `pairs_file` writes them: ``joints`` in radians (N, 2, J), ``rotation`` (N, 2, 3, 3) …

    Returns
    -------
    dict of str to ndarray
        ``unpacked`` gives them back.
    """
    kept = {k: v for k, v in arrays.items() if k not in ("templates", "joints", "rotation")}
    turns = Rotation.from_matrix(arrays["rotation"].reshape(-1, 3, 3)).as_quat()
    share = (arrays["joints"] - LOW) / (HIGH - LOW)
    text = "\n".join(str(name) for name in arrays["templates"])
    return kept | {
        "names": np.frombuffer(zlib.compress(text.encode()), np.uint8),
        "limits": np.stack([LOW, HIGH]),
        "share": np.round(share.clip(0, 1) * _SPAN).astype(np.uint16),
        "turn": np.round(turns.reshape(-1, 2, 4) * _UNIT).astype(np.int16),
    }


def unpacked(arrays: Mapping[str, np.ndarray]) -> dict[str, np.ndarray]:
    """Give back the arrays that `packed` made compact."""
    low, high = arrays["limits"]
    turns = Rotation.from_quat(arrays["turn"].reshape(-1, 4) / _UNIT).as_matrix()
    text = zlib.decompress(arrays["names"].tobytes()).decode()
    return dict(arrays) | {
        "templates": np.array(text.split("\n")),
        "joints": (low + arrays["share"] / np.float32(_SPAN) * (high - low)).astype(np.float32),
        "rotation": turns.reshape(-1, 2, 3, 3).astype(np.float32),
    }
