"""The journal of a bout: what was corrected, undone and redone, in order; and its replay."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from pipeline.errors import MatlineError
from pipeline.timeline import Correction, Timeline, apply

Kind = Literal["correction", "undo", "redo"]


class Conflict(MatlineError):
    """Someone else corrected the bout in between."""


@dataclass(frozen=True)
class Entry:
    """One line of the journal.

    Attributes
    ----------
    revision : int
        1 for the first; the bout's revision after it.
    kind : {"correction", "undo", "redo"}
        Undo and redo are lines of their own: nothing is ever deleted.
    at : str
        When, UTC, ISO 8601; the same in all lines that were written together, as an import's are.
        The order is the revision's.
    correction : Correction or None
        None for undo and redo.
    """

    revision: int
    kind: Kind
    at: str
    correction: Correction | None = None


@dataclass(frozen=True)
class Replay:
    """A proposal with the journal's lines over it; a new line gives a new replay.

    Attributes
    ----------
    states : tuple of Timeline
        The proposal, then the timeline after each correction that holds.
    done, undone : tuple of Correction
        The corrections that hold, in order, and those taken back, the last one at the end.
    revision : int
        Of the last line.
    """

    states: tuple[Timeline, ...]
    done: tuple[Correction, ...] = ()
    undone: tuple[Correction, ...] = ()
    revision: int = 0

    @classmethod
    def of(cls, proposal: Timeline) -> Replay:
        """Return the replay of an empty journal."""
        return cls((proposal,))

    @property
    def timeline(self) -> Timeline:
        """The timeline as it stands."""
        return self.states[-1]

    def after(self, entry: Entry) -> Replay:
        """Return the replay with one more line.

        Raises
        ------
        MatlineError
            If the correction doesn't fit, or there is nothing to undo or redo.
        """
        if entry.kind == "undo":
            return self._undo(entry.revision)
        if entry.kind == "redo":
            return self._redo(entry.revision)
        if entry.correction is None:
            raise MatlineError("The journal has a line without its correction.")
        return self._make(entry.correction, (), entry.revision)

    def _make(
        self, correction: Correction, undone: tuple[Correction, ...], revision: int
    ) -> Replay:
        states = (*self.states, apply(self.timeline, correction))
        return Replay(states, (*self.done, correction), undone, revision)

    def _undo(self, revision: int) -> Replay:
        if not self.done:
            raise MatlineError("There is nothing to undo.")
        return Replay(self.states[:-1], self.done[:-1], (*self.undone, self.done[-1]), revision)

    def _redo(self, revision: int) -> Replay:
        if not self.undone:
            raise MatlineError("There is nothing to redo.")
        return self._make(self.undone[-1], self.undone[:-1], revision)
