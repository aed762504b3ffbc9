"""The library's SQLite file: opened, checked and brought up to date."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from importlib.resources import files
from pathlib import Path

from pipeline.errors import MatlineError

BUSY_TIMEOUT_MS = 10_000
"""How long a writer waits for another: far above any write here, short enough to tell a user."""


class Database:
    """One SQLite file; a connection an operation, so that any thread may use it.

    Parameters
    ----------
    path : Path
        Made, with its tables, if it isn't there.

    Raises
    ------
    MatlineError
        If the file can't be opened, is damaged, or was written by a newer version.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        with self.reading() as db:
            db.execute("PRAGMA journal_mode = WAL")
        self._migrate()

    @contextmanager
    def reading(self) -> Iterator[sqlite3.Connection]:
        """Give a connection, and close it after."""
        try:
            db = sqlite3.connect(self.path, timeout=BUSY_TIMEOUT_MS / 1000, isolation_level=None)
            try:
                db.row_factory = sqlite3.Row
                db.execute("PRAGMA foreign_keys = ON")
                # NORMAL may lose the last transactions in a power cut; a correction must not be.
                db.execute("PRAGMA synchronous = FULL")
                yield db
            finally:
                db.close()
        except sqlite3.DatabaseError as error:
            raise _explained(error, self.path) from error

    @contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        """Give a connection inside one transaction: all of it is kept, or none."""
        with self.reading() as db:
            db.execute("BEGIN IMMEDIATE")
            try:
                yield db
            except BaseException:
                db.execute("ROLLBACK")
                raise
            db.execute("COMMIT")

    def problems(self) -> list[str]:
        """Return what SQLite's own checks find wrong, in its words; empty when all is well."""
        with self.reading() as db:
            found = [row[0] for row in db.execute("PRAGMA integrity_check") if row[0] != "ok"]
            dangling = db.execute("PRAGMA foreign_key_check").fetchall()
        return found + [f"a row of {row[0]} points to a missing {row[2]}" for row in dangling]

    def _migrate(self) -> None:
        steps = _migrations()
        with self.writing() as db:
            version = db.execute("PRAGMA user_version").fetchone()[0]
            if version > len(steps):
                raise MatlineError(
                    f"The library {self.path} was written by a newer matline "
                    f"(version {version}, this one knows {len(steps)}); update matline."
                )
            for number, script in enumerate(steps[version:], start=version + 1):
                for statement in _statements(script):
                    db.execute(statement)
                db.execute(f"PRAGMA user_version = {number}")


def _migrations() -> list[str]:
    folder = files("pipeline.library") / "migrations"
    scripts = sorted((f for f in folder.iterdir() if f.name.endswith(".sql")), key=lambda f: f.name)
    for number, script in enumerate(scripts, start=1):
        if not re.match(rf"{number:03d}_", script.name):
            raise MatlineError(f"Migration {number:03d} is missing; install matline again.")
    return [script.read_text(encoding="utf-8") for script in scripts]


def _statements(script: str) -> Iterator[str]:
    """Split a script, so that it runs inside our transaction (`executescript` commits)."""
    statement = ""
    for line in script.splitlines(keepends=True):
        statement += line
        if sqlite3.complete_statement(statement):
            yield statement
            statement = ""


def _explained(error: sqlite3.DatabaseError, path: Path) -> MatlineError:
    text = str(error)
    if "locked" in text or "busy" in text:
        return MatlineError(
            f"The library {path} is in use by another matline; close that one, or try again."
        )
    if "full" in text:
        return MatlineError(f"The disk that holds {path} is full; make room and try again.")
    if "unable to open" in text:
        return MatlineError(f"Can't open the library {path}; check that the folder is writable.")
    if "not a database" in text or "malformed" in text:
        return MatlineError(
            f"The library {path} is damaged; put a copy of it back (`matline check` says more)."
        )
    return MatlineError(f"The library {path} could not be used: {text}.")


def now() -> str:
    """Return the time as the library writes it: UTC, ISO 8601, milliseconds."""
    return datetime.now(UTC).isoformat(timespec="milliseconds")
