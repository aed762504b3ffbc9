"""Reference material from outside the project: single members of wheels, fetched and kept.

Nothing that is fetched is installed, imported or committed. Without a network the tests that
need it are skipped, with the reason.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import zipfile
from pathlib import Path

import pytest
from platformdirs import user_cache_path


def reference_member(requirement: str, member: str) -> Path:
    """Return a file out of a wheel.

    Parameters
    ----------
    requirement : str
        Distribution and version, ``"pose2sim==0.10.49"``.
    member : str
        Path of the file inside the wheel.

    Returns
    -------
    Path
        A copy in the user's cache; the wheel itself is not kept.
    """
    kept = user_cache_path("matline") / "reference" / requirement.replace("==", "-") / member
    if not kept.exists():
        with tempfile.TemporaryDirectory(prefix="matline-reference-") as folder:
            _extract(_download(requirement, Path(folder)), member, kept)
    return kept


def _download(requirement: str, folder: Path) -> Path:
    command = [sys.executable, "-m", "pip", "download", "--quiet", "--no-deps"]
    command += ["--only-binary=:all:", "--dest", str(folder), requirement]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=300)
    wheels = list(folder.glob("*.whl"))
    if done.returncode or not wheels:
        said = (done.stderr.strip().splitlines() or ["no message"])[-1]
        pytest.skip(f"{requirement} could not be fetched: {said}")
    return wheels[0]


def _extract(wheel: Path, member: str, kept: Path) -> None:
    kept.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=kept.parent)
    with zipfile.ZipFile(wheel) as archive, os.fdopen(handle, "wb") as file:
        file.write(archive.read(member))
    os.replace(name, kept)
