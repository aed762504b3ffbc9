"""Which bouts a library has, and what a human says about each."""

from __future__ import annotations

import sqlite3
from contextlib import suppress
from pathlib import Path
from typing import Any

from pipeline.errors import MatlineError
from pipeline.library.backups import FAILURES, Backups
from pipeline.library.bout import Bout, bout_of, columns_of, path_column
from pipeline.library.damage import trusted
from pipeline.library.database import now
from pipeline.library.sources import Sources
from pipeline.text import printable
from pipeline.timeline import new_id

_BOUTS = """
SELECT bout.*, reading.reader AS reader, reading.settings_hash AS settings_hash,
       (SELECT count(*) FROM journal WHERE journal.reading = bout.reading) AS revision
FROM bout LEFT JOIN reading ON reading.id = bout.reading
"""


class Bouts(Sources):
    """The part of a library that is the list of its bouts."""

    root: Path
    _backups: Backups

    def bouts(self) -> list[Bout]:
        """Return all bouts, in the order they were added."""
        with self._database.reading() as db:
            rows = db.execute(f"{_BOUTS} ORDER BY bout.rowid").fetchall()
        return [self._bout_of(row) for row in rows]

    def bout(self, bout_id: str) -> Bout:
        """Return one bout.

        Raises
        ------
        MatlineError
            If there is none of that id.
        """
        with self._database.reading() as db:
            return self._bout(db, bout_id)

    def find(self, content_key: str, start_s: float | None = None) -> list[Bout]:
        """Return the bouts of a footage file, by its content, so that a moved file is found."""
        with self._database.reading() as db:
            rows = db.execute(
                f"{_BOUTS} WHERE content_key = ? ORDER BY start_s, bout.rowid", (content_key,)
            )
            found = [self._bout_of(row) for row in rows]
        return [b for b in found if start_s is None or abs(b.start_s - start_s) < 1e-3]

    def add_bout(
        self,
        footage: Path,
        duration_s: float,
        *,
        title: str | None = None,
        content_key: str = "",
        start_s: float = 0.0,
        end_s: float | None = None,
        **details: Any,
    ) -> Bout:
        """Add a bout, not yet read.

        Parameters
        ----------
        footage : Path
            The file it is in.
        duration_s : float
            Of the footage, seconds.
        title : str, optional
            By default the file's name.
        content_key : str, optional
            Of the footage.
        start_s, end_s : float, optional
            Where the bout lies in the footage; by default all of it.
        **details
            names, we, event, date, ruleset, proxy.
        """
        footage = Path(footage).absolute()
        columns = columns_of(details) | {
            "id": new_id(),
            "title": printable(footage.stem) if title is None else title,
            "footage": path_column(footage),
            "content_key": content_key,
            "duration_s": float(duration_s),
            "start_s": float(start_s),
            "end_s": float(duration_s if end_s is None else end_s),
            "added_at": now(),
        }
        names, marks = ", ".join(columns), ", ".join("?" * len(columns))
        with self._database.writing() as db:
            db.execute(f"INSERT INTO bout ({names}) VALUES ({marks})", tuple(columns.values()))
            return self._bout(db, columns["id"])

    def update_bout(self, bout_id: str, **details: Any) -> Bout:
        """Change a bout's details: title, names, we, event, date, ruleset, proxy, footage, bounds.

        Raises
        ------
        MatlineError
            If there is no such bout or detail; nothing is changed then.
        """
        columns = columns_of(details)
        with self._database.writing() as db:
            self._bout(db, bout_id)
            for name, value in columns.items():
                db.execute(f"UPDATE bout SET {name} = ? WHERE id = ?", (value, bout_id))
            bout = self._bout(db, bout_id)
        with suppress(*FAILURES):  # what was said is kept already
            self._backups.add_details(bout_id, columns)
        return bout

    def _bout(self, db: sqlite3.Connection, bout_id: str) -> Bout:
        row = db.execute(f"{_BOUTS} WHERE bout.id = ?", (bout_id,)).fetchone()
        if row is None:
            raise MatlineError(f"No bout “{bout_id}” in the library {self.root}.")
        return self._bout_of(row)

    def _bout_of(self, row: sqlite3.Row) -> Bout:
        with trusted(self._database.path, f"the bout {row['id']}"):
            return bout_of(row)
