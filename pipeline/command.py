"""A command of ours as text that can be pasted into a terminal as it stands."""

from __future__ import annotations

import os
import shlex
import shutil
import subprocess
import sys
from pathlib import Path


def command(*arguments: str | Path) -> str:
    """Return the command line that runs this very installation with these arguments.

    Examples
    --------
    >>> command("read", "mat 2.mp4").endswith("read 'mat 2.mp4'")
    True
    """
    words = [*_program(), *map(str, arguments)]
    return subprocess.list2cmdline(words) if os.name == "nt" else shlex.join(words)


def _program() -> list[str]:
    script = shutil.which("matline", path=str(Path(sys.executable).parent))
    found = shutil.which("matline")
    if script is None:
        return [sys.executable, "-c", "from pipeline.cli import main; main()"]
    return ["matline"] if found and os.path.samefile(found, script) else [script]
