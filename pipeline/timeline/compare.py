"""How well one timeline tells another: the figures by which proposals are judged.

Frame accuracy, edit score and F1@k follow MS-TCN (Abu Farha & Gall, CVPR 2019), measured on
seconds instead of frames, which is the limit of ever finer sampling. Empty cases, on which the
published code divides by zero, are defined here: nothing against nothing is perfect, nothing
against something scores 0.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
import pandas as pd

from pipeline.timeline.model import Athlete, Moment, Segment, Timeline
from pipeline.timeline.vocabulary import UNKNOWN, coarse, position

F1_OVERLAPS = (0.10, 0.25, 0.50)
"""Overlaps at which segmental F1 is reported."""


@dataclass(frozen=True)
class Counts:
    """Hits, false alarms and misses, which add up over bouts."""

    hits: int = 0
    false_alarms: int = 0
    misses: int = 0

    def __add__(self, more: Counts) -> Counts:
        return Counts(
            self.hits + more.hits,
            self.false_alarms + more.false_alarms,
            self.misses + more.misses,
        )

    @property
    def precision(self) -> float:
        """Share of what was proposed that is true; 1 if nothing was proposed."""
        proposed = self.hits + self.false_alarms
        return self.hits / proposed if proposed else 1.0

    @property
    def recall(self) -> float:
        """Share of the truth that was proposed; 1 if there was nothing to find."""
        true = self.hits + self.misses
        return self.hits / true if true else 1.0

    @property
    def f1(self) -> float:
        """Harmonic mean of precision and recall; 1 if there was nothing to find nor proposed."""
        total = 2 * self.hits + self.false_alarms + self.misses
        return 2 * self.hits / total if total else 1.0


@dataclass(frozen=True)
class Run:
    """A stretch of one label, half-open."""

    start_s: float
    end_s: float
    label: str
    top: Athlete | None = None


def runs(segments: Iterable[Segment], *, by_top: bool = False) -> list[Run]:
    """Join neighbouring segments of the same coarse position.

    Parameters
    ----------
    segments : iterable of Segment
        In order.
    by_top : bool
        Whether a change of who is on top also starts a new run.
    """
    joined: list[Run] = []
    for segment in segments:
        label, last = coarse(segment.position), joined[-1] if joined else None
        if (
            last is not None
            and last.label == label
            and abs(last.end_s - segment.start_s) < 1e-6
            and (not by_top or last.top == segment.top)
        ):
            joined[-1] = Run(last.start_s, segment.end_s, label, last.top)
        else:
            joined.append(Run(segment.start_s, segment.end_s, label, segment.top))
    return joined


def edit_score(true: Sequence[str], proposed: Sequence[str]) -> float:
    """Segmental edit score, 0–100: 100 × (1 − Levenshtein distance / longer length).

    Parameters
    ----------
    true, proposed : sequences of str
        Labels of successive runs.
    """
    longest = max(len(true), len(proposed))
    return 100.0 * (1 - levenshtein(true, proposed) / longest) if longest else 100.0


def levenshtein(a: Sequence[str], b: Sequence[str]) -> int:
    """Fewest insertions, deletions and substitutions that turn `a` into `b`."""
    row = list(range(len(b) + 1))
    for i, left in enumerate(a, 1):
        diagonal, row[0] = row[0], i
        for j, right in enumerate(b, 1):
            diagonal, row[j] = (
                row[j],
                min(row[j] + 1, row[j - 1] + 1, diagonal + (left != right)),
            )
    return row[-1]


def segment_counts(true: Sequence[Run], proposed: Sequence[Run], overlap: float) -> Counts:
    """Segmental F1@k: a proposed run hits the run of its label it overlaps most.

    It counts as a hit if intersection over union is at least `overlap` and no earlier proposal
    took that run.
    """
    taken: set[int] = set()
    for run in proposed:
        best, best_overlap = -1, 0.0
        for index, truth in enumerate(true):
            if truth.label != run.label:
                continue
            shared = min(run.end_s, truth.end_s) - max(run.start_s, truth.start_s)
            union = max(run.end_s, truth.end_s) - min(run.start_s, truth.start_s)
            if shared / union > best_overlap:
                best, best_overlap = index, shared / union
        if best >= 0 and best_overlap >= overlap:
            taken.add(best)
    hits = len(taken)
    return Counts(hits, len(proposed) - hits, len(true) - hits)


def moment_counts(
    true: Sequence[Moment], proposed: Sequence[Moment], tolerance_s: float = 1.0
) -> Counts:
    """Match moments of one kind one to one, peaks at most `tolerance_s` apart.

    Both in order of time, a hit is looked for from the earliest on, which gives the most hits
    there can be. The athlete must agree where both name one.
    """
    left = sorted(proposed, key=lambda m: m.peak_s)
    hits = 0
    for truth in sorted(true, key=lambda m: m.peak_s):
        fitting = (
            moment
            for moment in left
            if abs(moment.peak_s - truth.peak_s) <= tolerance_s + 1e-9
            and (None in (moment.athlete, truth.athlete) or moment.athlete == truth.athlete)
        )
        hit = next(fitting, None)
        if hit is not None:
            left.remove(hit)
            hits += 1
    return Counts(hits, len(proposed) - hits, len(true) - hits)


def confusion_seconds(true: Timeline, proposed: Timeline) -> pd.DataFrame:
    """Seconds of each true position (rows) told as each position (columns).

    Truth that no proposal covers counts as ``unknown``.
    """
    table: dict[tuple[str, str], float] = {}
    for truth, said, seconds in _pieces(true, proposed):
        key = coarse(truth.position), coarse(said.position) if said else UNKNOWN
        table[key] = table.get(key, 0.0) + seconds
    rows = sorted({row for row, _ in table})
    columns = sorted({column for _, column in table} | set(rows))
    frame = pd.DataFrame(0.0, index=rows, columns=columns)
    for (row, column), seconds in table.items():
        frame.loc[row, column] = seconds
    return frame


def _pieces(true: Timeline, proposed: Timeline) -> list[tuple[Segment, Segment | None, float]]:
    """Cut the true time at every border: (truth, proposal or None, seconds)."""
    pieces = []
    for truth in true.segments:
        inside = [
            s for s in proposed.segments if s.start_s < truth.end_s and s.end_s > truth.start_s
        ]
        borders = {truth.start_s, truth.end_s}
        for segment in inside:
            borders |= {max(segment.start_s, truth.start_s), min(segment.end_s, truth.end_s)}
        for start, end in pairwise(sorted(borders)):
            middle = (start + end) / 2
            said = next((s for s in inside if s.start_s <= middle < s.end_s), None)
            pieces.append((truth, said, end - start))
    return pieces


def top_seconds(true: Timeline, proposed: Timeline) -> tuple[float, float]:
    """Seconds with the right athlete on top, and seconds in which someone truly is."""
    right = settled = 0.0
    for truth, said, seconds in _pieces(true, proposed):
        if truth.top is None or not position(truth.position).has_top:
            continue
        settled += seconds
        right += seconds * (said is not None and said.top == truth.top)
    return right, settled


SPLIT, RELABEL, MERGE, MOVE_BORDER = 1, 1, 1, 1


def corrections_needed(true: Timeline, proposed: Timeline, tolerance_s: float = 0.5) -> int:
    """How many corrections turn the proposal into the truth.

    The cheapest alignment of the two sequences, where a missing run costs a split and a
    relabel, a superfluous one a merge, a wrong position or top athlete one relabel, and a start
    more than `tolerance_s` off one move of a border.
    """
    truth, said = runs(true.segments, by_top=True), runs(proposed.segments, by_top=True)
    cost = np.zeros((len(truth) + 1, len(said) + 1), dtype=int)
    cost[:, 0] = np.arange(len(truth) + 1) * (SPLIT + RELABEL)
    cost[0, :] = np.arange(len(said) + 1) * MERGE
    for i, run in enumerate(truth, 1):
        for j, other in enumerate(said, 1):
            wrong = (run.label, run.top) != (other.label, other.top)
            off = abs(run.start_s - other.start_s) > tolerance_s
            cost[i, j] = min(
                cost[i - 1, j] + SPLIT + RELABEL,
                cost[i, j - 1] + MERGE,
                cost[i - 1, j - 1] + RELABEL * wrong + MOVE_BORDER * off,
            )
    return int(cost[-1, -1])


def expected_calibration_error(
    confidence: np.ndarray, correct: np.ndarray, bins: int = 10
) -> float:
    """Mean distance between confidence and accuracy over bins of equal numbers of samples.

    Parameters
    ----------
    confidence : ndarray, (N,)
        0–1.
    correct : ndarray, bool, (N,)
    bins : int
        Samples are sorted by confidence and cut into this many parts of (nearly) equal size.

    Returns
    -------
    float
        0–1; 0 for no samples.
    """
    order = np.argsort(confidence, kind="stable")
    parts = zip(
        np.array_split(np.asarray(confidence, dtype=float)[order], bins),
        np.array_split(np.asarray(correct, dtype=float)[order], bins),
        strict=True,
    )
    total = len(order)
    return float(sum(len(c) / total * abs(c.mean() - right.mean()) for c, right in parts if len(c)))


@dataclass(frozen=True)
class Comparison:
    """The figures of one or many bouts.

    Attributes
    ----------
    frame_accuracy : float
        Share of the true time told right, 0–1.
    edit : float
        Mean segmental edit score over bouts, 0–100.
    f1 : dict of float to float
        Segmental F1 in percent at each overlap, counts pooled over bouts.
    top_accuracy : float
        Share of the time with someone on top in which the right athlete is named, 0–1.
    corrections_per_minute : float
    confusion : DataFrame
        Seconds; rows truth, columns proposal.
    moments : dict of str to Counts
        By kind.
    seconds : float
        True time compared.
    bouts : int
    """

    frame_accuracy: float
    edit: float
    f1: dict[float, float]
    top_accuracy: float
    corrections_per_minute: float
    confusion: pd.DataFrame
    moments: dict[str, Counts] = field(default_factory=dict)
    seconds: float = 0.0
    bouts: int = 1

    def per_position(self) -> pd.DataFrame:
        """Return precision, recall, F1 and true seconds of every position."""
        table, rows = self.confusion, []
        for name in table.index:
            right = table.loc[name, name]
            rows.append(
                {
                    "position": name,
                    "precision": right / said if (said := table[name].sum()) else 1.0,
                    "recall": right / true if (true := table.loc[name].sum()) else 1.0,
                    "f1": 2 * right / (said + true) if said + true else 1.0,
                    "seconds": true,
                }
            )
        columns = ["position", "precision", "recall", "f1", "seconds"]
        return pd.DataFrame(rows, columns=columns).set_index("position")

    def __str__(self) -> str:
        f1 = "  ".join(f"F1@{round(100 * k)} {value:.1f}" for k, value in self.f1.items())
        lines = [
            f"{self.bouts} bouts, {self.seconds:.0f} s",
            f"frame accuracy {self.frame_accuracy:.3f}  edit {self.edit:.1f}  {f1}",
            f"top athlete {self.top_accuracy:.3f}  "
            f"corrections a minute {self.corrections_per_minute:.2f}",
            "",
            self.per_position().round(3).to_string(),
            "",
            "seconds told as (columns) of truth (rows):",
            self.confusion.round(1).to_string(),
        ]
        if self.moments:
            rows = {
                kind: (c.precision, c.recall, c.f1, c.hits + c.misses)
                for kind, c in sorted(self.moments.items())
            }
            names = ["precision", "recall", "f1", "true"]
            table = pd.DataFrame.from_dict(rows, orient="index", columns=names)
            lines += ["", "moments:", table.round(3).to_string()]
        return "\n".join(lines)


def compare(
    true: Timeline, proposed: Timeline, *, moment_s: float = 1.0, border_s: float = 0.5
) -> Comparison:
    """Compare a proposed timeline with the truth.

    Parameters
    ----------
    true, proposed : Timeline
        Only the time that `true` covers counts.
    moment_s : float
        How far apart two moments may be and still be the same, seconds.
    border_s : float
        How far off a border may be before moving it counts as a correction, seconds.

    Examples
    --------
    >>> truth = Timeline((Segment(0, 4, "standing"), Segment(4, 10, "mount", "A")))
    >>> said = Timeline((Segment(0, 5, "standing"), Segment(5, 10, "mount", "A")))
    >>> compare(truth, said).frame_accuracy
    0.9
    """
    return compare_all([(true, proposed)], moment_s=moment_s, border_s=border_s)


def compare_all(
    pairs: Iterable[tuple[Timeline, Timeline]], *, moment_s: float = 1.0, border_s: float = 0.5
) -> Comparison:
    """Compare many bouts, as pairs of truth and proposal; see `compare`."""
    edits: list[float] = []
    counts = dict.fromkeys(F1_OVERLAPS, Counts())
    confusion = pd.DataFrame(dtype=float)
    moments: dict[str, Counts] = {}
    right = settled = 0.0
    corrections = 0
    for true, proposed in pairs:
        truth, said = runs(true.segments), runs(proposed.segments)
        edits.append(edit_score([r.label for r in truth], [r.label for r in said]))
        for overlap in F1_OVERLAPS:
            counts[overlap] += segment_counts(truth, said, overlap)
        confusion = confusion.add(confusion_seconds(true, proposed), fill_value=0.0)
        for kind in {m.kind for m in (*true.moments, *proposed.moments)}:
            moments[kind] = moments.get(kind, Counts()) + moment_counts(
                [m for m in true.moments if m.kind == kind],
                [m for m in proposed.moments if m.kind == kind],
                moment_s,
            )
        bout_right, bout_settled = top_seconds(true, proposed)
        right, settled = right + bout_right, settled + bout_settled
        corrections += corrections_needed(true, proposed, border_s)
    confusion = confusion.fillna(0.0)
    seconds = float(confusion.to_numpy().sum())
    told = sum(confusion.loc[name, name] for name in confusion.index)
    return Comparison(
        frame_accuracy=float(told / seconds) if seconds else 1.0,
        edit=float(np.mean(edits)) if edits else 100.0,
        f1={overlap: 100 * counts[overlap].f1 for overlap in F1_OVERLAPS},
        top_accuracy=right / settled if settled else 1.0,
        corrections_per_minute=60 * corrections / seconds if seconds else 0.0,
        confusion=confusion,
        moments=moments,
        seconds=seconds,
        bouts=len(edits),
    )
