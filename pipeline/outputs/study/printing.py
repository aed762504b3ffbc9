"""The report as PDF, printed by a browser of the Chromium family where one is installed."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from pathlib import Path

from pipeline.errors import MatlineError
from pipeline.library import written_whole

BROWSERS: tuple[str, ...] = (
    "chromium",
    "chromium-browser",
    "google-chrome",
    "google-chrome-stable",
    "chrome",
    "microsoft-edge",
    "msedge",
    "/Applications/Chromium.app/Contents/MacOS/Chromium",
    "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome",
)
PATIENCE_S = 120.0
"""A browser that takes longer to print a page hangs."""


def browser() -> str | None:
    """Return a browser that prints without a window, or None if none is installed."""
    return next((found for name in BROWSERS if (found := shutil.which(name))), None)


def write_pdf(html: str, path: Path) -> Path:
    """Print a page that needs no other file; the PDF appears only when it is whole.

    Raises
    ------
    MatlineError
        If no browser is installed, or it doesn't print.
    """
    program = browser()
    if program is None:
        raise MatlineError(
            f"{path}: printing needs Chromium, Chrome or Edge, and none is installed; write an "
            ".html file instead and print it from any browser."
        )
    with tempfile.TemporaryDirectory() as folder, written_whole(path) as part:
        page = Path(folder) / "report.html"
        page.write_text(html, encoding="utf-8")
        command = [program, *_switches(folder), f"--print-to-pdf={part.absolute()}", page.as_uri()]
        try:
            done = subprocess.run(command, capture_output=True, timeout=PATIENCE_S, check=False)
        except (OSError, subprocess.TimeoutExpired) as error:
            raise MatlineError(f"{path} can't be printed with {program}: {error}.") from error
        if not _is_pdf(part):
            last = done.stderr.decode(errors="replace").strip().splitlines()[-1:]
            why = "".join(last) or f"it ended with {done.returncode}"
            raise MatlineError(f"{path} can't be printed with {program}: {why}")
    return path


def _switches(folder: str) -> list[str]:
    switches = ["--headless", "--disable-gpu", "--no-first-run", "--no-pdf-header-footer"]
    switches.append(f"--user-data-dir={Path(folder) / 'profile'}")
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        switches.append("--no-sandbox")  # it refuses to start for root otherwise; our page only
    return switches


def _is_pdf(path: Path) -> bool:
    return path.exists() and path.read_bytes()[:5] == b"%PDF-"
