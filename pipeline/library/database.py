"""The library's SQLite file: opened, checked and brought up to date."""

from __future__ import annotations

import os
import re
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from importlib.resources import files
from pathlib import Path

from pipeline.errors import MatlineError
from pipeline.library.damage import damaged

BUSY_TIMEOUT_MS = 10_000
"""How long a writer waits for another: far above any write here, short enough to tell a user."""


class Database:
    """One SQLite file; a connection an operation, so that any thread may use it.

    Parameters
    ----------
    path : Path
        Made, with its tables, if it isn't there. Where it may not be written, it is only read.
    may_be_new : bool
        Whether an empty file is a new library; else it is one that lost what it held.

    Raises
    ------
    MatlineError
        If the file can't be opened, is damaged, or was written by a newer version.
    """

    def __init__(self, path: Path, may_be_new: bool = True) -> None:
        self.path = path
        self.read_only = path.exists() and not _writable(path)
        if not self.read_only:
            _make_private(path)
            with self.reading() as db:
                db.execute("PRAGMA journal_mode = WAL")
        self._migrate(may_be_new)

    @contextmanager
    def reading(self) -> Iterator[sqlite3.Connection]:
        """Give a connection, and close it after."""
        try:
            db = self._connect()
            try:
                db.row_factory = sqlite3.Row
                db.execute("PRAGMA foreign_keys = ON")
                # NORMAL may lose the last transactions in a power cut; a correction must not be.
                db.execute("PRAGMA synchronous = FULL")
                yield db
            finally:
                db.close()
        except sqlite3.Error as error:
            raise _explained(error, self.path) from error
        except UnicodeDecodeError as error:  # as when SQLite names a damaged table in its error
            raise damaged(self.path, "it holds text that is none") from error
        except UnicodeEncodeError as error:
            raise MatlineError(
                f"{error.object[error.start : error.end]!a} is no character; take it out."
            ) from error

    @contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        """Give a connection inside one transaction: all of it is kept, or none."""
        self.check_writable()
        with self.reading() as db:
            db.execute("BEGIN IMMEDIATE")
            try:
                yield db
                db.execute("COMMIT")
            except BaseException:
                if db.in_transaction:  # a full disk has ended it already
                    db.execute("ROLLBACK")
                raise

    def check_writable(self) -> None:
        """Raise a `MatlineError` if the file may only be read."""
        if self.read_only:
            raise _not_writable(self.path)

    def check(self) -> None:
        """Raise `Damaged` if SQLite's own checks find anything wrong."""
        with self.reading() as db:
            found = [row[0] for row in db.execute("PRAGMA integrity_check") if row[0] != "ok"]
            dangling = db.execute("PRAGMA foreign_key_check").fetchall()
        found += [f"a row of {row[0]} points to a missing {row[2]}" for row in dangling]
        if found:
            raise damaged(self.path, found[0].splitlines()[0])

    def _connect(self) -> sqlite3.Connection:
        if not self.read_only:
            return sqlite3.connect(self.path, timeout=BUSY_TIMEOUT_MS / 1000, isolation_level=None)
        # Where nothing can be written, SQLite can't open a file that has a write-ahead log, unless
        # told that nobody writes to it: which holds as long as that log has nothing in it.
        log = self.path.with_name(f"{self.path.name}-wal")
        still = not log.exists() or log.stat().st_size == 0
        how = "immutable=1" if still else "mode=ro"
        uri = f"{self.path.absolute().as_uri()}?{how}"
        return sqlite3.connect(uri, uri=True, isolation_level=None)

    def _migrate(self, may_be_new: bool) -> None:
        steps = _migrations()
        with self.reading() as db:
            if _version(db, self.path, len(steps), may_be_new) == len(steps):
                return
        if self.read_only:
            raise MatlineError(
                f"The library {self.path} was written by an older matline, and can't be brought "
                "up to date where it may only be read; copy its folder to another place."
            )
        with self.writing() as db:
            version = _version(db, self.path, len(steps), may_be_new)
            for number, script in enumerate(steps[version:], start=version + 1):
                for statement in _statements(script):
                    db.execute(statement)
                db.execute(f"PRAGMA user_version = {number}")


def _version(db: sqlite3.Connection, path: Path, newest: int, may_be_new: bool) -> int:
    """Return the version of the tables; 0 where there are none yet."""
    version = int(db.execute("PRAGMA user_version").fetchone()[0])
    if version > newest:
        raise MatlineError(
            f"The library {path} was written by a newer matline "
            f"(version {version}, this one knows {newest}); update matline."
        )
    empty = not db.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    if version < 0 or empty != (version == 0):
        raise damaged(path, f"it says that its version is {version}")
    if empty and not may_be_new:
        raise damaged(path, "it is empty, though what was read of bouts lies beside it")
    return version


def _writable(path: Path) -> bool:
    return os.access(path, os.W_OK) and os.access(path.parent, os.W_OK)


def _make_private(path: Path) -> None:
    """Make the file, so that it, and what SQLite puts beside it, is never anyone else's to read."""
    try:
        os.close(os.open(path, os.O_RDWR | os.O_CREAT, 0o600))
    except OSError as error:
        raise MatlineError(
            f"Can't open the library {path} ({error.strerror}); choose another folder."
        ) from error


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


_DAMAGE = (
    "not a database",
    "malformed",
    "decode",
    "no such table",
    "no such column",
    "file format",
)


def _explained(error: sqlite3.Error, path: Path) -> MatlineError:
    text = str(error)
    if "locked" in text or "busy" in text:
        return MatlineError(
            f"The library {path} is in use by another matline; close that one, or try again."
        )
    if "full" in text or "disk I/O" in text:
        return MatlineError(
            f"The disk that holds {path} is full or fails ({text}); make room and try again."
        )
    if "readonly" in text:
        return _not_writable(path)
    if "unable to open" in text:
        return MatlineError(f"Can't open the library {path}; check that the folder is writable.")
    if any(word in text for word in _DAMAGE):
        return damaged(path, text)
    return MatlineError(f"The library {path} could not be used: {text}.")


def _not_writable(path: Path) -> MatlineError:
    return MatlineError(
        f"The library {path.parent} may only be read, so nothing was changed; "
        "copy its folder to a place where you may write."
    )


def now() -> str:
    """Return the time as the library writes it: UTC, ISO 8601, microseconds."""
    return datetime.now(UTC).isoformat(timespec="microseconds")
