"""The desk: one library as the page works with it, with what is slow to fetch kept at hand."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass
from itertools import takewhile
from threading import Lock
from typing import Any

import numpy as np
import pandas as pd

from pipeline.library import Bout, Entry, Library
from pipeline.moments import CAUTION, propose_points, usual_or
from pipeline.review.audit import audit, audited
from pipeline.review.keeping import Keeping
from pipeline.review.order import Doubts, order_of_work
from pipeline.review.trace import swapped, thin
from pipeline.settings import ReviewSettings
from pipeline.timeline import Correction, Moment, Segment, Timeline

KEPT_BOUTS = 3
"""Bouts whose samples stay in memory: 2 h at 5 a second are about 20 MB."""


@dataclass(frozen=True)
class Samples:
    """What was measured of one bout, as it was read.

    Attributes
    ----------
    times : ndarray, float64, (T,)
        Seconds from the first picture.
    keypoints : ndarray, float32, (T, 2, 17, 3)
        Index 0 is who the reader called A.
    features : DataFrame
        Index = time_s.
    doubts : Doubts
    """

    times: np.ndarray
    keypoints: np.ndarray
    features: pd.DataFrame
    doubts: Doubts


class Desk:
    """A library, read and corrected by the page.

    Parameters
    ----------
    library : Library
        Where everything is kept; the desk itself keeps nothing that could be lost.
    settings : ReviewSettings, optional
    """

    def __init__(self, library: Library, settings: ReviewSettings | None = None) -> None:
        self.library = library
        self.settings = settings or ReviewSettings()
        self.keeping = Keeping(library.root / "review")
        self._samples: OrderedDict[tuple[str, str, str], Samples] = OrderedDict()
        self._lock = Lock()

    def samples(self, bout: Bout) -> Samples:
        """Return what was measured, from memory where it was fetched before."""
        key = (bout.id, bout.reader, bout.settings_hash)
        with self._lock:
            if key not in self._samples:
                times, keypoints = self.library.keypoints(bout.id, as_read=True)
                features = self.library.features(bout.id, as_read=True)
                doubts = Doubts.of(times, keypoints, self.library.probabilities(bout.id))
                self._samples[key] = Samples(times, keypoints, features, doubts)
            self._samples.move_to_end(key)
            while len(self._samples) > KEPT_BOUTS:
                self._samples.popitem(last=False)
            return self._samples[key]

    def swaps(self, bout_id: str) -> list[float]:
        """Return the times from which on A and B were exchanged."""
        return _swaps(self._stacks(bout_id)[0])

    def standing(self, bout_id: str) -> dict[str, Any]:
        """Return the timeline as corrected, its revision and what can be undone."""
        # The revision first: should a change come in between, the page learns by a conflict that
        # it has an old revision, and never overwrites what it doesn't know.
        revision = self.library.revision(bout_id)
        timeline = self.library.timeline(bout_id)
        return _state(revision, *self._stacks(bout_id)) | {
            "segments": [asdict(s) for s in timeline.segments],
            "moments": [asdict(m) for m in timeline.moments],
        }

    def change(self, bout_id: str, make: Callable[[], int]) -> dict[str, Any]:
        """Make a change and return what it changed.

        Parameters
        ----------
        make : callable
            Changes the library and returns its new revision, or raises and leaves it as it was.
        """
        before, swaps = self.library.timeline(bout_id), self.swaps(bout_id)
        revision = make()
        after, (done, undone) = self.library.timeline(bout_id), self._stacks(bout_id)
        return (
            _state(revision, done, undone)
            | difference(before, after)
            | {"athletes_turned": swaps != _swaps(done)}
        )

    def undo(self, bout_id: str, expected_revision: int, times: int = 1) -> dict[str, Any]:
        """Take the last corrections back; return what that changed, and which was the first."""
        change = self.change(bout_id, lambda: self.library.undo(bout_id, expected_revision, times))
        return change | {"stepped": _stepped(self._stacks(bout_id)[1], times)}

    def redo(self, bout_id: str, expected_revision: int, times: int = 1) -> dict[str, Any]:
        """Make undone corrections again; return what that changed, and which was the first."""
        change = self.change(bout_id, lambda: self.library.redo(bout_id, expected_revision, times))
        return change | {"stepped": _stepped(self._stacks(bout_id)[0], times)}

    def work(self, bout: Bout) -> dict[str, Any]:
        """Return what to look at, best first; what the audit says; the effort so far."""
        timeline = self.library.timeline(bout.id)
        chosen = audited(self.library.proposal(bout.id), bout.id, self.settings)
        swaps = self.swaps(bout.id)
        doubts = self.samples(bout).doubts.after(swaps)
        ids = frozenset(segment.id for segment in chosen)
        order = order_of_work(timeline, doubts, ids, self.settings)
        return {
            "order": [{"id": one.id, "reasons": one.reasons} for one in order],
            "audit": asdict(audit(chosen, timeline, swaps)),
            "effort": asdict(self.keeping.spent(bout.id)),
        }

    def points(self, bout: Bout) -> dict[str, Any]:
        """Return the points that the timeline, as corrected, proposes under the bout's rules."""
        rules = usual_or(bout.ruleset)
        timeline = self.library.timeline(bout.id)
        span = (bout.start_s, bout.end_s)
        tally = propose_points(timeline.moments, timeline.segments, rules, span)
        return {
            "rules": rules.name,
            "edition": rules.edition,
            "caution": CAUTION,
            "points": [
                {
                    "time_s": p.moment.peak_s,
                    "athlete": p.athlete,
                    "points": p.points,
                    "what": p.moment.kind.replace("_", " "),
                }
                for p in tally.points
            ],
            "came_close": len(tally.came_close),
        }

    def _stacks(self, bout_id: str) -> tuple[list[Entry], list[Entry]]:
        return stacks(self.library.journal(bout_id))

    def keypoints(self, bout: Bout, start_s: float, end_s: float) -> tuple[np.ndarray, np.ndarray]:
        """Return times ``(N,)`` and keypoints ``(N, 2, 17, 3)`` of ``[start_s, end_s)``.

        Index 0 is who the timeline, as corrected, calls A.
        """
        samples = self.samples(bout)
        first, last = np.searchsorted(samples.times, [start_s, end_s])
        times = samples.times[first:last]
        keypoints = samples.keypoints[first:last].copy()
        turned = swapped(times, self.swaps(bout.id))
        keypoints[turned] = keypoints[turned][:, ::-1]
        return times, keypoints

    def trace(self, bout: Bout, start_s: float, end_s: float, buckets: int) -> dict[str, Any]:
        """Return both athletes' hip heights, thinned for drawing.

        Returns
        -------
        dict
            ``time_s``, ``A`` and ``B`` (trunk lengths; None where not seen) and ``seen``: the
            lower of the two bodies' mean keypoint confidence, 0–1.
        """
        samples = self.samples(bout)
        first, last = np.searchsorted(samples.times, [start_s, end_s])
        heights = _heights(samples.features)[:, first:last]
        turned = swapped(samples.times[first:last], self.swaps(bout.id))
        heights[:, turned] = heights[::-1, turned]
        kept = thin(heights, buckets)
        seen = _seen(samples.keypoints[first:last][kept])
        return {
            "time_s": np.round(samples.times[first:last][kept], 3).tolist(),
            "A": _plain(heights[0, kept]),
            "B": _plain(heights[1, kept]),
            "seen": _plain(seen),
        }


def difference(before: Timeline, after: Timeline) -> dict[str, Any]:
    """Return what a page must change to go from one timeline to another.

    A long bout has thousands of segments; after one key, only a few of them travel.

    Returns
    -------
    dict
        ``segments`` and ``moments``: those that are new or changed; ``gone``: ids of those that
        are no longer there.
    """
    old, new = _by_id(before), _by_id(after)

    def changed(rows: Iterable[Segment] | Iterable[Moment]) -> list[dict[str, Any]]:
        # What a correction leaves alone stays the same object; comparing those is for nothing.
        return [asdict(r) for r in rows if old.get(r.id) is not r and old.get(r.id) != r]

    return {
        "segments": changed(after.segments),
        "moments": changed(after.moments),
        "gone": [one for one in old if one not in new],
    }


def _state(revision: int, done: list[Entry], undone: list[Entry]) -> dict[str, Any]:
    bounds = [c.arguments for c in _corrections(done) if c.action == "set_bounds"]
    return {
        "revision": revision,
        "undoes": _together(done),
        "redoes": _together(undone),
        "bounds": bounds[-1] if bounds else None,
    }


def _together(entries: list[Entry]) -> int:
    """Count the last corrections that were made in one go, as an import's are; 0 if none."""
    if not entries:
        return 0
    return sum(1 for _ in takewhile(lambda e: e.at == entries[-1].at, reversed(entries)))


def _stepped(entries: list[Entry], times: int) -> dict[str, Any]:
    correction = _corrections(entries)[-times]
    return {"count": times, "action": correction.action, "arguments": correction.arguments}


def _swaps(done: list[Entry]) -> list[float]:
    return [c.arguments["from_s"] for c in _corrections(done) if c.action == "swap_athletes"]


def _corrections(entries: list[Entry]) -> list[Correction]:
    return [entry.correction for entry in entries if entry.correction is not None]


def _by_id(timeline: Timeline) -> dict[str, Segment | Moment]:
    rows: list[Segment | Moment] = [*timeline.segments, *timeline.moments]
    return {row.id: row for row in rows}


def stacks(journal: Iterable[Entry]) -> tuple[list[Entry], list[Entry]]:
    """Return the corrections that hold and those taken back, the next to step at each one's end."""
    done: list[Entry] = []
    undone: list[Entry] = []
    for entry in journal:
        if entry.kind == "undo":
            undone.append(done.pop())
        elif entry.kind == "redo":
            done.append(undone.pop())
        else:
            done.append(entry)
            undone.clear()
    return done, undone


def _heights(features: pd.DataFrame) -> np.ndarray:
    columns = [f"{athlete}_hip_height" for athlete in ("a", "b")]
    if set(columns) <= set(features.columns):
        return features[columns].to_numpy(dtype=float).T.copy()
    return np.full((2, len(features)), np.nan)


def _seen(keypoints: np.ndarray) -> np.ndarray:
    confidence = np.nan_to_num(keypoints[..., 2]).mean(axis=2)
    return confidence.min(axis=1) if len(confidence) else np.zeros(0)


def _plain(values: np.ndarray) -> list[float | None]:
    return [None if np.isnan(v) else round(float(v), 3) for v in values]
