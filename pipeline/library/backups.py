"""Copies of what people did, so that a damaged database costs no correction.

Beside the database lie whole copies of it, each with a file of what was changed since: one line of
JSON per line of the journal or per bout described. The newest sound copy with those lines is the
library as it was before the damage.
"""

from __future__ import annotations

import json
import os
import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from contextlib import closing, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from pipeline.errors import MatlineError
from pipeline.library.atomic import append_text, written_whole
from pipeline.library.journal import Entry
from pipeline.library.rows import insert_entry
from pipeline.timeline import Correction

KEPT_DAYS = 3
"""The newest copy of each of the last days with one: a fault may be noticed late."""
STALE_S = 3600.0
"""Seconds. What no line tells of, mats and linked cameras, is at most this much older in a copy."""

FAILURES = (MatlineError, OSError, sqlite3.Error)
"""Why a copy may not be made; a change that is kept already never fails for it."""

_STAMP = "%Y%m%dT%H%M%S%f"


@dataclass(frozen=True)
class Restored:
    """What was put back.

    Attributes
    ----------
    made_at : str
        When the copy was made, UTC, ISO 8601.
    changes : int
        Later lines of the journal, and details of bouts, that were added to it.
    aside : Path or None
        Where the damaged file lies now.
    """

    made_at: str
    changes: int
    aside: Path | None


class Backups:
    """The copies of one library.

    Parameters
    ----------
    database : Path
        The library's SQLite file; the copies lie in ``backups`` beside it.
    """

    def __init__(self, database: Path) -> None:
        self._database = database
        self._folder = database.parent / "backups"

    def copies(self) -> list[Path]:
        """Return the copies, oldest first."""
        return sorted(self._folder.glob("*.sqlite3"))

    def copy(self) -> None:
        """Copy the database as it is now; what is damaged never takes the place of what is not."""
        path = self._folder / f"{datetime.now(UTC).strftime(_STAMP)}.sqlite3"
        with written_whole(path) as part:
            with (
                closing(sqlite3.connect(self._database)) as source,
                closing(sqlite3.connect(part)) as target,
            ):
                source.backup(target)
                target.execute("PRAGMA journal_mode = DELETE")
            if not _is_sound(part):
                raise MatlineError(f"{self._database} is damaged.")
        self._rotate()

    def copy_if_stale(self) -> None:
        """Copy the database if it changed a good while after the newest copy."""
        newest = self._newest()
        files = (self._database, self._database.with_name(f"{self._database.name}-wal"))
        changed = max(file.stat().st_mtime for file in files if file.exists())
        if newest is None or changed > newest.stat().st_mtime + STALE_S:
            self.copy()

    def renew(self) -> None:
        """Copy the database and remove all earlier copies, so that what was removed is gone."""
        self.copy()
        for path in self.copies()[:-1]:
            _remove(path)

    def add_entries(self, reading: str, entries: Iterable[Entry]) -> None:
        """Keep new lines of a journal."""
        self._add(
            reading,
            [
                {
                    "reading": reading,
                    "revision": entry.revision,
                    "kind": entry.kind,
                    "at": entry.at,
                    "correction": entry.correction and entry.correction.to_dict(),
                }
                for entry in entries
            ],
        )

    def add_details(self, bout: str, columns: Mapping[str, Any]) -> None:
        """Keep what was said about a bout."""
        self._add(bout, [{"bout": bout, "columns": dict(columns)}])

    def restore(self) -> Restored:
        """Put the newest sound copy in the database's place, with all that came after it.

        Raises
        ------
        MatlineError
            If there is no sound copy.
        """
        copies = self.copies()
        sound = next((copy for copy in reversed(copies) if _is_sound(copy)), None)
        if sound is None:
            raise MatlineError(
                f"There is no sound copy of {self._database}; put back one of your own."
            )
        with written_whole(self._database) as part:
            part.write_bytes(sound.read_bytes())
            changes = _replay(part, sound, copies)
            aside = self._set_aside()
        return Restored(_made_at(sound), changes, aside)

    def _add(self, known_by: str, lines: list[dict[str, Any]]) -> None:
        newest = self._newest()
        if newest is None or not _knows(newest, known_by):
            self.copy()
            return
        text = "".join(json.dumps(line) + "\n" for line in lines)
        append_text(_log_of(newest), text)

    def _newest(self) -> Path | None:
        return next(reversed(self.copies()), None)

    def _rotate(self) -> None:
        copies = self.copies()
        of_day = {copy.name[:8]: copy for copy in copies}  # the last of each day stays
        kept = {*list(of_day.values())[-KEPT_DAYS:], *copies[-2:]}
        for copy in copies:
            if copy not in kept:
                _remove(copy)

    def _set_aside(self) -> Path | None:
        if not self._database.exists():
            return None
        aside = self._database.with_name(f"{self._database.name}.damaged-{_now()}")
        for end in ("-wal", "-shm", ""):
            with suppress(FileNotFoundError):
                os.replace(f"{self._database}{end}", f"{aside}{end}")
        return aside


def _now() -> str:
    return datetime.now(UTC).strftime(_STAMP)


def _made_at(copy: Path) -> str:
    return datetime.strptime(copy.stem, _STAMP).replace(tzinfo=UTC).isoformat(timespec="seconds")


def _log_of(copy: Path) -> Path:
    return copy.with_suffix(".jsonl")


def _remove(copy: Path) -> None:
    copy.unlink(missing_ok=True)
    _log_of(copy).unlink(missing_ok=True)


def _is_sound(path: Path) -> bool:
    try:
        with closing(sqlite3.connect(path)) as db:
            return bool(db.execute("PRAGMA integrity_check").fetchone()[0] == "ok")
    except sqlite3.Error:
        return False


def _knows(copy: Path, id: str) -> bool:
    query = "SELECT 1 FROM reading WHERE id = ? UNION SELECT 1 FROM bout WHERE id = ?"
    try:
        with closing(sqlite3.connect(copy)) as db:
            return db.execute(query, (id, id)).fetchone() is not None
    except sqlite3.Error:
        return False


def _replay(database: Path, copy: Path, copies: list[Path]) -> int:
    """Add to a database what the logs tell; return how many changes that were."""
    with closing(sqlite3.connect(database)) as db:
        db.row_factory = sqlite3.Row
        before = db.total_changes
        for one in copies:
            for line in _lines(_log_of(one)):
                # A line of the journal may have gone to an earlier copy's log just as the copy was
                # made, and says by its number whether it is there; details don't, and are newest.
                if "reading" in line:
                    _add_entry(db, line)
                elif one >= copy:
                    _set_details(db, line)
        db.commit()
        return db.total_changes - before


def _lines(log: Path) -> Iterator[dict[str, Any]]:
    try:
        text = log.read_text(encoding="utf-8", errors="replace")
    except FileNotFoundError:
        return
    for line in text.splitlines():
        try:
            data = json.loads(line)
        except ValueError:
            continue  # torn by a crash, before the change it tells of was reported as kept
        if isinstance(data, dict):
            yield data


def _add_entry(db: sqlite3.Connection, line: Mapping[str, Any]) -> None:
    reading, revision = line["reading"], line["revision"]
    known = db.execute("SELECT 1 FROM reading WHERE id = ?", (reading,)).fetchone()
    last = db.execute("SELECT max(revision) FROM journal WHERE reading = ?", (reading,)).fetchone()
    if known and revision == (last[0] or 0) + 1:
        correction = line["correction"] and Correction.from_dict(line["correction"])
        insert_entry(db, reading, Entry(revision, line["kind"], line["at"], correction))


def _set_details(db: sqlite3.Connection, line: Mapping[str, Any]) -> None:
    known = {row["name"] for row in db.execute("PRAGMA table_info(bout)")} - {"id", "reading"}
    for name, value in line["columns"].items():
        if name in known:
            db.execute(f"UPDATE bout SET {name} = ? WHERE id = ?", (value, line["bout"]))
