"""What the readers make of the sample clips: ``python -m tests.overnight.evaluate_clips``.

Each clip is read as `matline read` reads it and compared with its truth, with A and B in whichever
order agrees better. Besides: in how much of the time an athlete is lost, and how often the
athletes' names are exchanged on the way.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from pipeline.bodies import READERS, make_reader
from pipeline.overnight import read_file
from pipeline.timeline import Timeline, new_id
from pipeline.timeline.actions import swap_athletes
from pipeline.timeline.compare import Comparison, compare, compare_all
from tests.learning.corrector import Truth, exchanges

CLIPS = Path(__file__).resolve().parents[2] / "sample_clips"


def main() -> None:
    """Print a line a clip and reader, then one for all clips of a reader."""
    rows = {}
    for name, (_, is_there) in READERS.items():
        if not is_there():
            continue
        pairs, lost, exchanged = [], [], 0
        for film in sorted(CLIPS.glob("*.mp4")):
            truth = Truth.beside(film)
            assert truth is not None, f"{film} has no truth beside it"
            read = read_file(film, make_reader(name))
            pairs.append((truth.timeline, named_alike(read.proposal, truth.timeline)))
            lost.append(np.isnan(read.keypoints[..., 0]).all(axis=2).any(axis=1))
            # The first exchange may be but the order that A and B were found in.
            changes = [t for t in exchanges(read.times, read.keypoints, truth) if t > read.times[0]]
            rows[name, film.stem] = row(compare(*pairs[-1]), lost[-1], len(changes))
            exchanged += len(changes)
        rows[name, "all"] = row(compare_all(pairs), np.concatenate(lost), exchanged)
    print(pd.DataFrame(rows).T.round(1).to_string())


def named_alike(proposed: Timeline, truth: Timeline) -> Timeline:
    """Return the proposal with A and B in the order that fits the truth better."""
    turned = swap_athletes(proposed, 0.0, new_id())
    return max((proposed, turned), key=lambda p: compare(truth, p).top_accuracy)


def row(told: Comparison, lost: np.ndarray, exchanged: int) -> dict[str, float]:
    """Return the headline figures, shares in percent."""
    return {
        "time told right": 100 * told.frame_accuracy,
        "edit": told.edit,
        "F1@50": told.f1[0.5],
        "top": 100 * told.top_accuracy,
        "corrections/min": told.corrections_per_minute,
        "lost": 100 * lost.mean(),
        "names exchanged": exchanged,
    }


if __name__ == "__main__":
    main()
