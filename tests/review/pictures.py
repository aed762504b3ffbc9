"""Pictures of the page for the documentation.

``python -m tests.review.pictures LIBRARY BOUT`` shows a bout of a library; without arguments an
invented one. The pictures go to ``docs/pictures``.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from pipeline.library import Library
from tests.review.bouts import MOMENTS, add_bout, write_video
from tests.review.conftest import BROWSER_ARGUMENTS, TOKEN, running

PICTURES = Path(__file__).parents[2] / "docs" / "pictures"
LOOKS = {
    "correcting-light": ("light", 1366, 768),
    "correcting-dark": ("dark", 1366, 768),
    "correcting-narrow": ("light", 430, 932),
}


def main(arguments: list[str]) -> int:
    """Take all pictures."""
    with tempfile.TemporaryDirectory() as folder:
        if arguments:
            library, bout_id = Library(Path(arguments[0])), arguments[1]
        else:
            library = Library(Path(folder) / "library")
            footage = write_video(Path(folder) / "mat 2.mp4")
            names = {"A": "Mara Lindqvist", "B": "Ines Okoro"}
            bout = add_bout(
                library, footage, moments=MOMENTS, names=names, event="Harbour Open", we="A"
            )
            bout_id = bout.id
        with running(library) as address:
            take(f"{address}/bouts/{bout_id}#token={TOKEN}")
    return 0


def take(link: str) -> None:
    """Take the pictures of one bout."""
    from playwright.sync_api import sync_playwright

    PICTURES.mkdir(parents=True, exist_ok=True)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path="/usr/bin/chromium", args=list(BROWSER_ARGUMENTS)
        )
        for name, (scheme, width, height) in LOOKS.items():
            context = browser.new_context(
                color_scheme=scheme,  # type: ignore[arg-type]
                viewport={"width": width, "height": height},
            )
            page = context.new_page()
            page.goto(link)
            page.wait_for_selector("#story li button")
            page.wait_for_timeout(1500)
            page.keyboard.press("n")
            page.wait_for_timeout(1000)
            page.screenshot(path=PICTURES / f"{name}.png")
            if name == "correcting-light":
                page.keyboard.press("r")
                page.wait_for_selector("#chooser[open]")
                page.screenshot(path=PICTURES / "correcting-position.png")
            context.close()
        browser.close()


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
