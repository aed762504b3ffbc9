"""What the page keeps beside a bout's journal: the scoreboard and the time that was spent."""

from __future__ import annotations

import json
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from pipeline.errors import MatlineError
from pipeline.library import written_whole
from pipeline.library.atomic import append_text


@dataclass(frozen=True)
class Spent:
    """A human's effort: seconds, keys and clicks."""

    seconds: float = 0.0
    keys: int = 0
    clicks: int = 0

    def __add__(self, more: Spent) -> Spent:
        return Spent(self.seconds + more.seconds, self.keys + more.keys, self.clicks + more.clicks)


class Keeping:
    """Two small files a bout, in a folder of the library.

    Parameters
    ----------
    folder : Path
        Made when something is first kept.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def score(self, bout_id: str) -> list[dict[str, Any]]:
        """Return the scoreboard's lines, empty where none was written."""
        path = self.folder / f"{bout_id}.score.json"
        try:
            lines = json.loads(path.read_text(encoding="utf-8"))
        except FileNotFoundError:
            return []
        except (OSError, ValueError) as error:
            raise MatlineError(f"{path} can't be read ({error}); put a copy back.") from error
        return lines

    def set_score(self, bout_id: str, lines: list[dict[str, Any]]) -> None:
        """Keep the scoreboard."""
        with written_whole(self.folder / f"{bout_id}.score.json") as part:
            part.write_text(json.dumps(lines, ensure_ascii=False, indent=1), encoding="utf-8")

    def spent(self, bout_id: str) -> Spent:
        """Return all effort so far."""
        total = Spent()
        for line in self._effort_lines(bout_id):
            try:
                total += Spent(**json.loads(line))
            except (ValueError, TypeError):
                continue  # a line torn by a crash is a few seconds of someone's time, no more
        return total

    def add(self, bout_id: str, spent: Spent) -> None:
        """Add effort; one short line, so that two windows don't overwrite each other."""
        if spent == Spent():
            return
        line = json.dumps(asdict(spent)) + "\n"
        with suppress(MatlineError):  # no correction is refused for a figure about it
            append_text(self._effort_path(bout_id), line, durable=False)

    def _effort_path(self, bout_id: str) -> Path:
        return self.folder / f"{bout_id}.effort.jsonl"

    def _effort_lines(self, bout_id: str) -> list[str]:
        try:
            return self._effort_path(bout_id).read_text(encoding="utf-8").splitlines()
        except FileNotFoundError:
            return []
