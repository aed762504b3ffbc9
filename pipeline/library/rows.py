"""The journal's lines as database rows."""

from __future__ import annotations

import sqlite3

from pipeline.library.journal import Entry
from pipeline.timeline import Correction


def entries(db: sqlite3.Connection, reading: str, after: int) -> list[Entry]:
    """Return a journal's lines after a revision, in order."""
    rows = db.execute(
        "SELECT * FROM journal WHERE reading = ? AND revision > ? ORDER BY revision",
        (reading, after),
    )
    return [
        Entry(
            row["revision"],
            row["kind"],
            row["at"],
            Correction.from_json(row["correction"]) if row["correction"] else None,
        )
        for row in rows
    ]


def insert_entry(db: sqlite3.Connection, reading: str, entry: Entry) -> None:
    """Add a line to a journal."""
    text = entry.correction.to_json() if entry.correction else None
    row = (reading, entry.revision, entry.kind, text, entry.at)
    db.execute("INSERT INTO journal VALUES (?, ?, ?, ?, ?)", row)
