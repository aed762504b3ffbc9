"""``python -m pipeline.cli.definitions``: bring the pages that define positions up to date."""

from __future__ import annotations

from pathlib import Path

from pipeline.library import written_whole
from pipeline.positions.judging.words import definitions, meanings

BEGIN, END = "<!-- made from the code -->\n", "<!-- end -->\n"
PAGES = {"docs/judging.md": definitions, "docs/positions.md": meanings}


def brought_up_to_date(page: str, part: str) -> str:
    """Return a page with what stands between its two marks replaced."""
    before, rest = page.split(BEGIN)
    _, after = rest.split(END)
    return f"{before}{BEGIN}\n{part}\n{END}{after}"


def main() -> None:
    """Rewrite what is made from the code."""
    for name, part in PAGES.items():
        path = Path(name)
        page = brought_up_to_date(path.read_text(encoding="utf-8"), part())
        with written_whole(path) as partial:
            partial.write_text(page, encoding="utf-8")


if __name__ == "__main__":
    main()
