"""Bouts whose features are drawn, not measured: each state has its own mean, plus noise.

``shift`` moves some columns, as another camera and other clothing would. What a model learnt
without the shift is then partly wrong, and correcting teaches it.
"""

from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from sklearn.impute import SimpleImputer
from sklearn.neural_network import MLPClassifier
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import StandardScaler

from pipeline.geometry import FEATURE_NAMES, LIFTED_NAMES, swap_columns
from pipeline.learning import Samples, SeenBout
from pipeline.library import Library
from pipeline.positions import PositionModel
from pipeline.timeline import Segment, State, Timeline

POSITIONS = ("standing", "half_guard", "side_control", "mount")
SEGMENT_S = 6.0


@cache
def meaning(position):
    """The mean of a position's features, with A on top."""
    rng = np.random.default_rng(POSITIONS.index(position))
    return pd.DataFrame([rng.normal(0, 1, len(FEATURE_NAMES))], columns=list(FEATURE_NAMES))


@cache
def camera():
    """What a shift adds: the same for A and B, as a camera sees both alike."""
    drawn = pd.DataFrame(
        [np.random.default_rng(99).normal(0, 1, len(FEATURE_NAMES))], columns=list(FEATURE_NAMES)
    )
    return (drawn + swap_columns(drawn)) / 2


@cache
def drawn_features(timeline, seed, shift=0.0):
    rng = np.random.default_rng(seed)
    times = np.arange(0, timeline.segments[-1].end_s, 0.2)
    rows = []
    for time_s in times:
        segment = timeline.at(time_s)
        mean = meaning(segment.position)
        rows.append(swap_columns(mean) if segment.top == "B" else mean)
    table = pd.concat(rows) + shift * camera().to_numpy()
    table += rng.normal(0, 1.5, table.shape)
    table = table.reindex(columns=[*FEATURE_NAMES, *LIFTED_NAMES])  # no heights were told
    return table.set_axis(pd.Index(times, name="time_s"))


def true_timeline(seed, count=8, state=State.ACCEPTED):
    rng = np.random.default_rng(1000 + seed)
    segments, last = [], ""
    for number in range(count):
        position = rng.choice([p for p in POSITIONS if p != last])
        top = None if position == "standing" else str(rng.choice(["A", "B"]))
        start_s = number * SEGMENT_S
        segments.append(
            Segment(
                start_s,
                start_s + SEGMENT_S,
                str(position),
                top,
                state=state,
                id=f"s{seed}-{number}",
            )
        )
        last = position
    return Timeline(tuple(segments))


@cache
def seen(seed, shift=0.0, count=8):
    timeline = true_timeline(seed, count)
    return SeenBout(f"b{seed}", f"bout {seed}", drawn_features(timeline, seed, shift), timeline, 1)


@pytest.fixture(scope="session")
def start() -> PositionModel:
    """A model that learnt from six bouts without any shift."""
    samples = Samples.of([seen(seed) for seed in range(6)])
    classifier = make_pipeline(
        SimpleImputer(keep_empty_features=False),
        StandardScaler(),
        MLPClassifier((16,), max_iter=15, n_iter_no_change=15, random_state=0),
    )
    classifier.fit(samples.x, samples.y.astype(str))
    del classifier[-1]._optimizer
    return PositionModel(classifier, tuple(classifier.classes_), 1.0, "drawn")


@pytest.fixture
def library(tmp_path) -> Library:
    return Library(tmp_path / "library")


def put(library, seed, shift=1.0, state=State.ACCEPTED, timeline=None):
    timeline = timeline or true_timeline(seed, state=state)
    features = drawn_features(true_timeline(seed), seed, shift)
    bout = library.add_bout(Path(f"bout{seed}.mp4"), 48.0, title=f"bout {seed}")
    times = features.index.to_numpy()
    library.save_reading(
        bout.id, times, np.zeros((len(times), 2, 17, 3), np.float32), features,
        pd.DataFrame(index=features.index), timeline, reader="drawn",
    )  # fmt: skip
    return bout.id
