"""The position model: what a user would lose if files, rates or naming orders went wrong."""

import numpy as np
import pandas as pd
import pytest
import skops.io

from pipeline.errors import MatlineError
from pipeline.geometry import features, swap_columns
from pipeline.positions import STATES, PositionModel, by_position, decode
from pipeline.positions.model import shipped_model
from pipeline.positions.states import exchanged
from pipeline.positions.windows import at_times, on_grid, with_context

# A person standing, by hand: x to the right, y down, pixels; COCO order.
UPRIGHT = np.array(
    [(0, -170), (3, -173), (-3, -173), (8, -170), (-8, -170), (18, -145), (-18, -145), (26, -118),
     (-26, -118), (30, -95), (-30, -95), (11, -92), (-11, -92), (13, -48), (-13, -48), (14, -5),
     (-14, -5)],
    float,
)  # fmt: skip


def standing(rate_hz=5.0, seconds=10.0):
    """Two people on their feet, two metres apart, swaying a little."""
    times = np.arange(0, seconds, 1 / rate_hz)
    keypoints = np.ones((len(times), 2, 17, 3), np.float32)
    for athlete, x in ((0, 250), (1, 450)):
        sway = 4 * np.sin(times + athlete)[:, None]
        keypoints[:, athlete, :, 0] = x + UPRIGHT[:, 0] + sway
        keypoints[:, athlete, :, 1] = 300 + UPRIGHT[:, 1]
    return times, keypoints


@pytest.fixture(scope="module")
def model():
    return PositionModel.load()


def test_two_people_on_their_feet_are_not_told_to_be_on_the_ground(model):
    table = features(*standing())
    positions = by_position(model.predict(table)).mean()
    assert positions[["standing", "apart"]].sum() > 0.8
    assert {s.position for s in decode(model.predict(table)).segments} <= {"standing", "apart"}


def test_probabilities_are_probabilities_at_the_times_that_were_given(model):
    table = features(*standing(rate_hz=7.0))
    probabilities = model.predict(table)
    assert list(probabilities.columns) == list(STATES)
    pd.testing.assert_index_equal(probabilities.index, table.index)
    np.testing.assert_allclose(probabilities.sum(axis=1), 1, atol=1e-5)
    assert (probabilities >= 0).all(axis=None)


def test_exchanging_the_athletes_exchanges_the_answer_and_nothing_else(model):
    table = features(*standing())
    here, there = model.predict(table), model.predict(swap_columns(table))
    renamed = there.rename(columns=exchanged)[list(STATES)]
    np.testing.assert_allclose(here, renamed, atol=1e-6)


def test_three_and_ten_samples_a_second_read_alike(model):
    slow, fast = (model.predict(features(*standing(rate_hz=rate))).mean() for rate in (3.0, 10.0))
    assert np.abs(slow - fast).max() < 0.1


def test_where_nobody_is_seen_nothing_is_said(model):
    times, keypoints = standing()
    keypoints[20:35] = np.nan
    probabilities = model.predict(features(times, keypoints))
    np.testing.assert_allclose(probabilities.iloc[25], 1 / len(STATES), atol=1e-6)
    assert model.predict(features(times[:0], keypoints[:0])).empty


def test_the_body_readers_scores_count(model):
    table = features(*standing())
    scores = pd.DataFrame(0.001, index=table.index, columns=list(by_position(model.predict(table))))
    scores["apart"] = 1.0
    without, with_scores = (by_position(model.predict(table, s))["apart"] for s in (None, scores))
    assert (with_scores > without).all()
    with pytest.raises(MatlineError, match="no column for"):
        model.predict(table, scores.drop(columns="mount"))


def test_a_wrong_table_is_said(model):
    table = features(*standing())
    with pytest.raises(MatlineError, match="missing"):
        model.predict(table.drop(columns="a_hip_height"))
    with pytest.raises(MatlineError, match="increase"):
        model.predict(table.iloc[::-1])


class Stranger:
    """A type that no model file may hold."""


def test_bad_model_files_are_refused_with_a_sentence(tmp_path, model):
    with pytest.raises(MatlineError, match="no position model"):
        PositionModel.load(tmp_path / "missing.skops")
    cut = tmp_path / "cut.skops"
    cut.write_bytes(shipped_model().read_bytes()[:5000])
    with pytest.raises(MatlineError, match="not a readable"):
        PositionModel.load(cut)
    strange = tmp_path / "strange.skops"
    skops.io.dump({"classifier": Stranger()}, strange)
    with pytest.raises(MatlineError, match="not trusted"):
        PositionModel.load(strange)


def test_a_saved_model_says_the_same(tmp_path, model):
    model.save(tmp_path / "copy.skops")
    table = features(*standing(seconds=3))
    again = PositionModel.load(tmp_path / "copy.skops").predict(table)
    pd.testing.assert_frame_equal(model.predict(table), again)
    assert (tmp_path / "copy.skops").stat().st_size < 5e6


def test_the_grid_keeps_lines_straight_and_holes_open():
    times = np.array([0.0, 0.3, 0.5, 1.1, 4.0, 4.2])
    grid = on_grid(pd.DataFrame({"x": 2 * times}, index=times))
    np.testing.assert_allclose(grid.loc[:1.05, "x"], 2 * grid.loc[:1.05].index, atol=1e-9)
    assert grid.loc[2.3:2.7, "x"].isna().all()
    back = at_times(grid.ffill(), np.array([0.1, 0.9]))
    np.testing.assert_allclose(back["x"], [0.2, 1.8])


def test_context_is_mean_spread_and_change():
    grid = pd.DataFrame({"x": np.arange(20, dtype=float)}, index=0.2 * np.arange(20))
    row = with_context(grid, ["x"]).iloc[10]
    # Within ±0.4 s are 8 … 12: mean 10, standard deviation √2, mean after − before 11 − 9.
    assert row["x@0.4"] == pytest.approx(10)
    assert row["x~0.4"] == pytest.approx(np.sqrt(2))
    assert row["x>0.4"] == pytest.approx(2)
