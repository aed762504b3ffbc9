"""All bouts in one folder: SQLite for what a human says, Parquet for what was measured."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path

import numpy as np
import pandas as pd
from platformdirs import user_data_path

from pipeline.errors import MatlineError
from pipeline.geometry import swapped_name
from pipeline.library.atomic import could_not_write
from pipeline.library.backups import FAILURES, Backups
from pipeline.library.bout import Bout, count_states
from pipeline.library.bouts import Bouts
from pipeline.library.damage import Damaged, trusted
from pipeline.library.database import Database, now
from pipeline.library.journal import Conflict, Entry, Kind, Replay
from pipeline.library.privacy import keep_private
from pipeline.library.readings import ReadingFiles, remove_traces
from pipeline.library.rows import entries, insert_entry
from pipeline.library.tables import keypoint_array, keypoint_table
from pipeline.timeline import ATHLETES, Correction, Timeline, new_id
from pipeline.timeline.records import timeline_from_json, timeline_to_json

Line = tuple[Kind, Correction | None]


def default_root() -> Path:
    """Return where a user's library lives when nothing else is said."""
    return user_data_path("matline") / "library"


class Library(Bouts):
    """The bouts of one folder. Safe to use from several threads and programs at once.

    Parameters
    ----------
    root : Path, optional
        The folder; made if it isn't there, and closed to other users of the machine. By default
        the user's own data folder. Where it may not be written, everything but changes works.

    Raises
    ------
    MatlineError
        If the folder can't be used; `Damaged` if its database can't be trusted.

    Examples
    --------
    >>> library = Library(Path("my-library"))  # doctest: +SKIP
    >>> [bout.title for bout in library.bouts()]  # doctest: +SKIP
    """

    def __init__(self, root: Path | None = None) -> None:
        self.root = default_root() if root is None else Path(root)
        try:
            self.root.parent.mkdir(parents=True, exist_ok=True)
            self.root.mkdir(mode=0o700, exist_ok=True)
            keep_private(self.root)
        except OSError as error:
            raise could_not_write(self.root, error) from error
        self._files = ReadingFiles(self.root)
        self._database = Database(self.root / "library.sqlite3", not self._files.any())
        self._backups = Backups(self._database.path)
        self._replays: dict[str, Replay] = {}
        if not self.read_only:
            with suppress(*FAILURES):
                self._backups.copy_if_stale()

    @property
    def read_only(self) -> bool:
        """Whether the library may be read but not changed."""
        return self._database.read_only

    def remove_bout(self, bout_id: str) -> None:
        """Remove a bout with all that was read and corrected of it; the footage itself stays.

        What was kept of the footage (read pieces, copies for browsers) goes with its last bout.
        """
        with self._database.writing() as db:
            bout = self._bout(db, bout_id)
            found = db.execute("SELECT id FROM reading WHERE bout = ?", (bout_id,)).fetchall()
            db.execute("UPDATE bout SET reading = NULL WHERE id = ?", (bout_id,))
            db.execute("DELETE FROM bout WHERE id = ?", (bout_id,))
        for row in found:
            self._files.remove(row["id"])
            self._replays.pop(row["id"], None)
        if bout.content_key and not self.find(bout.content_key):
            remove_traces(self.root, bout.content_key)
            self.set_mat(bout.content_key, ())
        self._backups.renew()

    # Readings

    def save_reading(
        self,
        bout_id: str,
        times: np.ndarray,
        keypoints: np.ndarray,
        features: pd.DataFrame,
        probabilities: pd.DataFrame,
        proposal: Timeline,
        *,
        scores: pd.DataFrame | None = None,
        reader: str = "",
        settings_hash: str = "",
    ) -> None:
        """Keep what was read of a bout; it is what the bout shows from then on.

        An earlier reading that was corrected stays in the library with its journal, but no longer
        shows; one that nobody corrected is replaced.

        Parameters
        ----------
        times : ndarray, float64, (T,)
        keypoints : ndarray, float32, (T, 2, 17, 3)
        features, probabilities : DataFrame
            Indexed by time.
        proposal : Timeline
        scores : DataFrame, optional
            The body reader's own scores of positions, indexed by time, to judge and learn with.
        reader, settings_hash : str, optional
            What read it, and how.
        """
        self.bout(bout_id)
        self.check_writable()
        reading = new_id()
        tables = {
            "keypoints": keypoint_table(times, keypoints),
            "features": features,
            "probabilities": probabilities,
        }
        if scores is not None:
            tables["scores"] = scores
        self._files.save(reading, tables)
        try:
            outdated = self._insert_reading(bout_id, reading, reader, settings_hash, proposal)
        except BaseException:
            self._files.remove(reading)
            raise
        with suppress(*FAILURES):
            self._backups.copy()
        for old in outdated:
            self._files.remove(old)

    def keypoints(self, bout_id: str, *, as_read: bool = False) -> tuple[np.ndarray, np.ndarray]:
        """Return sample times ``(T,)`` and keypoints ``(T, 2, 17, 3)``.

        Index 0 is who the corrected timeline calls A; with `as_read`, who the reader called A.
        """
        times, keypoints = keypoint_array(self._table(bout_id, "keypoints"))
        for from_s in [] if as_read else self._swaps(bout_id):
            keypoints[times >= from_s] = keypoints[times >= from_s][:, ::-1]
        return times, keypoints

    def features(self, bout_id: str, *, as_read: bool = False) -> pd.DataFrame:
        """Return the features, one row a sample; athletes as in `keypoints`."""
        features = self._table(bout_id, "features")
        own = [name for name in features.columns if name.startswith(("a_", "b_"))]
        exchanged = [swapped_name(name) for name in own]
        for from_s in [] if as_read else self._swaps(bout_id):
            later = features.index >= from_s
            features.loc[later, own] = features.loc[later, exchanged].to_numpy()
        return features

    def probabilities(self, bout_id: str) -> pd.DataFrame:
        """Return the positions' probabilities, one row a sample."""
        return self._table(bout_id, "probabilities")

    def scores(self, bout_id: str) -> pd.DataFrame | None:
        """Return the body reader's own scores of positions, or None where it has none.

        Where a column names an athlete (``"mount/A"``), athletes are as in `keypoints`.
        """
        with self._database.reading() as db:
            reading = self._reading(db, bout_id)
        if not self._files.has(reading, "scores"):
            return None
        scores = self._files.load(reading, "scores")
        named = [name for name in scores.columns if _other_way(name) in scores.columns]
        for from_s in self._swaps(bout_id):
            later = scores.index >= from_s
            exchanged = scores.loc[later, [_other_way(name) for name in named]]
            scores.loc[later, named] = exchanged.to_numpy()
        return scores

    def proposal(self, bout_id: str) -> Timeline:
        """Return what the reader proposed, before any correction."""
        with self._database.reading() as db:
            return self._proposal(db, self._reading(db, bout_id))

    # Corrections

    def timeline(self, bout_id: str) -> Timeline:
        """Return the timeline as it stands: the proposal with its journal replayed."""
        with self._database.reading() as db:
            return self._replay(db, self._reading(db, bout_id)).timeline

    def revision(self, bout_id: str) -> int:
        """Return how many lines the journal has; it grows with every change."""
        return self.bout(bout_id).revision

    def journal(self, bout_id: str) -> list[Entry]:
        """Return every correction, undo and redo, in order."""
        with (
            self._database.reading() as db,
            trusted(self._database.path, f"the journal of the bout {bout_id}"),
        ):
            return entries(db, self._reading(db, bout_id), after=0)

    def corrections(self, bout_id: str) -> tuple[Correction, ...]:
        """Return the corrections that hold, in order: made, and not undone."""
        with self._database.reading() as db:
            return self._replay(db, self._reading(db, bout_id)).done

    def can_undo_redo(self, bout_id: str) -> tuple[bool, bool]:
        """Return whether there is something to undo, and something to redo."""
        with self._database.reading() as db:
            replay = self._replay(db, self._reading(db, bout_id))
            return bool(replay.done), bool(replay.undone)

    def append(
        self, bout_id: str, correction: Correction, expected_revision: int | None = None
    ) -> int:
        """Make a correction and keep it at once; return the new revision.

        Parameters
        ----------
        expected_revision : int, optional
            The revision the correction was made on.

        Raises
        ------
        Conflict
            If the bout has moved on from `expected_revision`.
        MatlineError
            If the correction doesn't fit; nothing is changed then.
        """
        return self.append_all(bout_id, [correction], expected_revision)

    def append_all(
        self,
        bout_id: str,
        corrections: Iterable[Correction],
        expected_revision: int | None = None,
    ) -> int:
        """Make several corrections, all or none; return the new revision."""
        lines: list[Line] = [("correction", correction) for correction in corrections]
        return self._add(bout_id, lines, expected_revision)

    def undo(self, bout_id: str, expected_revision: int | None = None, times: int = 1) -> int:
        """Take the last correction back, or so many; return the new revision."""
        return self._add(bout_id, [("undo", None)] * times, expected_revision)

    def redo(self, bout_id: str, expected_revision: int | None = None, times: int = 1) -> int:
        """Make the last undone correction again, or so many; return the new revision."""
        return self._add(bout_id, [("redo", None)] * times, expected_revision)

    def check_writable(self) -> None:
        """Say before work that its result could not be kept.

        Raises
        ------
        MatlineError
            If the library may only be read.
        """
        self._database.check_writable()

    def check_database(self) -> None:
        """Look through the whole database.

        Raises
        ------
        Damaged
            If it isn't what was written.
        """
        self._database.check()
        for bout in self.bouts():
            if bout.reader:
                self.timeline(bout.id)

    def count_again(self) -> None:
        """Count every bout's states anew; after a copy was put back they may be of an older day."""
        for bout in self.bouts():
            if bout.reader:
                counts = _counts(self.timeline(bout.id))
                with self._database.writing() as db:
                    db.execute("UPDATE bout SET counts = ? WHERE id = ?", (counts, bout.id))

    def problems(self) -> list[str]:
        """Return what is wrong with the library's files, a sentence each; empty when all is well.

        Raises
        ------
        Damaged
            If the database itself isn't what was written.
        """
        self.check_database()
        found = []
        for bout in self.bouts():
            if not bout.footage.exists():
                found.append(f"{bout.title}: its footage {bout.footage} isn't there.")
            if bout.reader:
                found += self._reading_problems(bout)
        return found

    # Helpers

    def _add(self, bout_id: str, lines: list[Line], expected: int | None) -> int:
        with self._database.writing() as db:
            reading = self._reading(db, bout_id)
            replay = self._replay(db, reading)
            if expected is not None and expected != replay.revision:
                raise Conflict(
                    f"This bout was changed elsewhere (revision {replay.revision}, "
                    f"not {expected}); load it again."
                )
            added, at = [], now()
            for kind, correction in lines:
                entry = Entry(replay.revision + 1, kind, at, correction)
                replay = replay.after(entry)
                insert_entry(db, reading, entry)
                added.append(entry)
            db.execute(
                "UPDATE bout SET counts = ? WHERE id = ?", (_counts(replay.timeline), bout_id)
            )
        self._replays[reading] = replay
        with suppress(*FAILURES):  # what was said is kept already
            self._backups.add_entries(reading, added)
        return replay.revision

    def _replay(self, db: sqlite3.Connection, reading: str) -> Replay:
        replay = self._replays.get(reading) or Replay.of(self._proposal(db, reading))
        with trusted(self._database.path, f"the journal of the reading {reading}"):
            for entry in entries(db, reading, after=replay.revision):
                replay = replay.after(entry)
        self._replays[reading] = replay
        return replay

    def _insert_reading(
        self, bout_id: str, reading: str, reader: str, settings_hash: str, proposal: Timeline
    ) -> list[str]:
        """Make a reading the bout's own; return those that it replaces."""
        row = (reading, bout_id, reader, settings_hash, now(), timeline_to_json(proposal))
        with self._database.writing() as db:
            db.execute("INSERT INTO reading VALUES (?, ?, ?, ?, ?, ?)", row)
            db.execute(
                "UPDATE bout SET reading = ?, counts = ? WHERE id = ?",
                (reading, _counts(proposal), bout_id),
            )
            gone = db.execute(
                "DELETE FROM reading WHERE bout = ? AND id <> ? "
                "AND id NOT IN (SELECT reading FROM journal) RETURNING id",
                (bout_id, reading),
            ).fetchall()
        return [row["id"] for row in gone]

    def _reading(self, db: sqlite3.Connection, bout_id: str) -> str:
        row = db.execute("SELECT title, reading FROM bout WHERE id = ?", (bout_id,)).fetchone()
        if row is None:
            raise MatlineError(f"No bout “{bout_id}” in the library {self.root}.")
        if row["reading"] is None:
            raise MatlineError(f"{row['title']} has not been read yet; run matline read on it.")
        return row["reading"]

    def _proposal(self, db: sqlite3.Connection, reading: str) -> Timeline:
        row = db.execute("SELECT proposal FROM reading WHERE id = ?", (reading,)).fetchone()
        with trusted(self._database.path, f"the proposal of the reading {reading}"):
            return timeline_from_json(row["proposal"])

    def _table(self, bout_id: str, name: str) -> pd.DataFrame:
        with self._database.reading() as db:
            reading = self._reading(db, bout_id)
        return self._files.load(reading, name)

    def _swaps(self, bout_id: str) -> list[float]:
        corrections = self.corrections(bout_id)
        return [c.arguments["from_s"] for c in corrections if c.action == "swap_athletes"]

    def _reading_problems(self, bout: Bout) -> list[str]:
        found = []
        for load in (self.keypoints, self.features, self.probabilities, self.scores):
            try:
                load(bout.id)
            except Damaged:
                raise
            except MatlineError as error:
                found.append(f"{bout.title}: {error}")
        return found


def _other_way(column: str) -> str:
    """Return the column of the same position with the other athlete on top: ``"mount/B"``."""
    position, _, athlete = column.partition("/")
    return f"{position}/{'B' if athlete == 'A' else 'A'}" if athlete in ATHLETES else ""


def _counts(timeline: Timeline) -> str:
    return json.dumps(count_states(timeline))
