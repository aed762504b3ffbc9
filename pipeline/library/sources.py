"""What a human said of the footage itself: which mat counts, which cameras saw the same fight."""

from __future__ import annotations

import json
import math
import sqlite3

from pipeline.errors import MatlineError
from pipeline.library.database import Database
from pipeline.settings import Corners
from pipeline.timeline import new_id


class Sources:
    """The part of a library that is about footage and cameras."""

    _database: Database

    def mat(self, content_key: str) -> Corners:
        """Return the corners of the mat that counts in a footage file, source pixels.

        Empty if none was chosen: the whole picture counts then.
        """
        with self._database.reading() as db:
            row = db.execute(
                "SELECT corners FROM mat WHERE content_key = ?", (content_key,)
            ).fetchone()
        return tuple((x, y) for x, y in json.loads(row["corners"])) if row else ()

    def set_mat(self, content_key: str, corners: Corners) -> None:
        """Choose the mat that counts in a footage file; without corners, none.

        What was read before stays until the file is read again.
        """
        with self._database.writing() as db:
            db.execute("DELETE FROM mat WHERE content_key = ?", (content_key,))
            if corners:
                row = (content_key, json.dumps(corners))
                db.execute("INSERT INTO mat VALUES (?, ?)", row)

    def link(self, bout_id: str, other_id: str, offset_s: float) -> None:
        """Say that two bouts are one fight, seen by two cameras.

        Cameras already linked to either come along. Linking the same two again only moves the
        other one's clock.

        Parameters
        ----------
        bout_id, other_id : str
        offset_s : float
            What the first bout shows at t, the other shows at t + `offset_s`.

        Raises
        ------
        MatlineError
            If a bout isn't there, both are the same, or different athletes are in them.
        """
        if bout_id == other_id:
            raise MatlineError("A bout can't be linked with itself; name two bouts.")
        if not math.isfinite(offset_s):
            raise MatlineError(f"An offset of {offset_s} s makes no sense; give seconds.")
        with self._database.writing() as db:
            for bout in (bout_id, other_id):
                if not db.execute("SELECT 1 FROM bout WHERE id = ?", (bout,)).fetchone():
                    raise MatlineError(f"No bout “{bout}” in the library; nothing was linked.")
            _check_same_athletes(db, bout_id, other_id)
            fight, clock_s = _place(db, bout_id)
            other_fight, other_clock_s = _place(db, other_id)
            moved_s = clock_s - offset_s - other_clock_s
            if fight == other_fight:
                where, what = "bout = ?", other_id
            else:
                where, what = "fight = ?", other_fight
            db.execute(
                f"UPDATE camera SET fight = ?, clock_s = clock_s + ? WHERE {where}",
                (fight, moved_s, what),
            )

    def unlink(self, bout_id: str) -> None:
        """Take a bout out of its fight; the fight's other cameras stay linked."""
        with self._database.writing() as db:
            db.execute("DELETE FROM camera WHERE bout = ?", (bout_id,))

    def cameras(self, bout_id: str) -> dict[str, float]:
        """Return the other bouts of the same fight.

        Returns
        -------
        dict of str to float
            Id → offset: what this bout shows at t, that one shows at t + offset.
        """
        with self._database.reading() as db:
            rows = db.execute(
                "SELECT other.bout AS bout, own.clock_s - other.clock_s AS offset_s "
                "FROM camera AS own JOIN camera AS other ON other.fight = own.fight "
                "WHERE own.bout = ? AND other.bout <> own.bout ORDER BY other.rowid",
                (bout_id,),
            ).fetchall()
        return {row["bout"]: row["offset_s"] for row in rows}


def _check_same_athletes(db: sqlite3.Connection, bout: str, other: str) -> None:
    """Refuse two bouts of which the names say that they can't be one fight; A and B may differ."""
    names = {}
    for one in (bout, other):
        row = db.execute("SELECT name_a, name_b FROM bout WHERE id = ?", (one,)).fetchone()
        names[one] = {name.strip().casefold(): name for name in row if name.strip()}
    first, second = names.values()
    if len(set(first) | set(second)) > 2:
        told = [" and ".join(known.values()) for known in (first, second)]
        raise MatlineError(
            f"These are not one fight: {told[0]} are in one bout, {told[1]} in the other; "
            "nothing was linked."
        )


def _place(db: sqlite3.Connection, bout_id: str) -> tuple[str, float]:
    """Return a bout's fight and clock; a fight of its own if it had none."""
    db.execute("INSERT OR IGNORE INTO camera VALUES (?, ?, 0)", (bout_id, new_id()))
    row = db.execute("SELECT fight, clock_s FROM camera WHERE bout = ?", (bout_id,)).fetchone()
    return row["fight"], row["clock_s"]
