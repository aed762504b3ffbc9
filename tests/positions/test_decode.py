"""Segments from probabilities: what a user would lose if borders, doubt or rates went wrong."""

import numpy as np
import pandas as pd
import pytest

from pipeline.errors import MatlineError
from pipeline.positions import STATES, by_position, decode, top_probability
from pipeline.positions.states import exchanged, joint
from pipeline.positions.tables import durations, grammar, transitions
from pipeline.timeline import POSITION_KEYS, UNKNOWN


def certain(spans, rate_hz=5.0, sure=0.9, end_s=30.0):
    """Probabilities that follow spans of (start, joint state)."""
    times = np.arange(0, end_s, 1 / rate_hz)
    values = np.full((len(times), len(STATES)), (1 - sure) / (len(STATES) - 1))
    frame = pd.DataFrame(values, index=times, columns=list(STATES))
    for (start, state), (stop, _) in zip(spans, [*spans[1:], (np.inf, "")], strict=True):
        frame.loc[(times >= start) & (times < stop), state] = sure
    return frame


SPANS = [(0, "standing"), (10, "takedown/A"), (12.5, "half_guard/A"), (22, "mount/A")]


@pytest.mark.parametrize("rate_hz", [3, 5, 10])
def test_clear_positions_come_back_at_any_sampling_rate(rate_hz):
    segments = decode(certain(SPANS, rate_hz)).segments
    assert [joint(s.position, s.top) for s in segments] == [state for _, state in SPANS]
    starts = [s.start_s for s in segments]
    np.testing.assert_allclose(starts, [0, 10, 12.5, 22], atol=1 / rate_hz)
    assert segments[-1].end_s == pytest.approx(30, abs=0.5 / rate_hz + 1e-6)
    assert all(s.confidence == pytest.approx(0.9) for s in segments)


def test_a_flicker_does_not_become_a_segment():
    frame = certain([(0, "mount/A")])
    flicker = certain([(0, "back_control/A")]).iloc[50:52]
    frame.iloc[50:52] = flicker
    assert len(decode(frame).segments) == 1


def test_doubt_is_said_rather_than_guessed():
    frame = certain([(0, "mount/A")])
    frame.iloc[50:75] = 1 / len(STATES)
    segments = decode(frame).segments
    assert [s.position for s in segments] == ["mount", UNKNOWN, "mount"]
    assert segments[1].confidence < 0.1
    assert segments[1].top is None


def test_clear_positions_in_quick_succession_are_told_though_names_jump():
    # As read of two athletes in one colour, whose names are exchanged now and then.
    spans = [
        (0, "standing"),
        (2.5, "turtle/B"),
        (5.2, "back_control/A"),
        (6.8, "back_control/B"),
        (9.5, "side_control/A"),
        (12.5, "open_guard/A"),
        (15.5, "side_control/B"),
    ]
    frame = certain(spans, sure=0.8, end_s=18)
    segments = decode(frame).segments
    assert [s.position for s in segments if s.duration_s > 1.5] == [
        "standing",
        "turtle",
        "back_control",
        "back_control",
        "side_control",
        "open_guard",
        "side_control",
    ]


def test_a_hole_in_the_footage_is_not_bridged():
    frame = certain([(0, "mount/A")]).drop(index=certain(SPANS).index[50:100])
    segments = decode(frame).segments
    assert [s.position for s in segments] == ["mount", UNKNOWN, "mount"]
    assert segments[1].start_s == pytest.approx(10.0)
    assert segments[1].end_s == pytest.approx(20.0)


def test_a_blurred_border_is_less_sure_than_a_sharp_one():
    sharp = certain([(0, "half_guard/A"), (15, "mount/A")])
    blurred = sharp.copy()
    for k, share in enumerate(np.linspace(0.9, 0.1, 21)):
        row = blurred.columns.get_indexer(["half_guard/A", "mount/A"])
        blurred.iloc[65 + k, row] = [share, 1 - share]
        rest = [c for c in range(len(STATES)) if c not in row]
        blurred.iloc[65 + k, rest] = 0
    (sure,), (unsure,) = decode(sharp).borders, decode(blurred).borders
    assert sure.confidence > 0.99 > unsure.confidence
    assert unsure.time_s == pytest.approx(15.0, abs=0.3)


def test_exchanging_the_athletes_exchanges_the_segments_tops_and_nothing_else():
    frame = certain(SPANS, sure=0.7)
    mirrored = frame.rename(columns=exchanged)[list(STATES)]
    here, there = decode(frame).segments, decode(mirrored).segments
    assert [(s.position, s.start_s) for s in here] == [(s.position, s.start_s) for s in there]
    assert [s.top for s in there] == [{"A": "B", None: None}[s.top] for s in here]


def test_plain_positions_decode_as_well():
    segments = decode(by_position(certain(SPANS))).segments
    assert [s.position for s in segments] == ["standing", "takedown", "half_guard", "mount"]


def test_bad_probabilities_are_refused_with_a_sentence():
    frame = certain(SPANS)
    with pytest.raises(MatlineError, match="is not a position"):
        decode(frame.rename(columns={"standing": "lying"}))
    with pytest.raises(MatlineError, match="increase"):
        decode(frame.iloc[::-1])
    with pytest.raises(MatlineError, match="between 0 and 1"):
        decode(frame.mask(frame > 0.5))
    assert decode(frame.iloc[:0]).segments == ()
    assert len(decode(frame.iloc[:1]).segments) == 1


def test_folding_keeps_all_probability():
    frame = certain(SPANS)
    folded = by_position(frame)
    assert list(folded.columns) == list(POSITION_KEYS)
    np.testing.assert_allclose(folded.sum(axis=1), 1)
    assert top_probability(frame).iloc[-1] > 0.8
    assert top_probability(frame.rename(columns=exchanged)).iloc[-1] < 0.2


def test_tables_are_complete_and_every_entry_has_a_reason():
    table = transitions()
    assert set(table["from"]) == set(table["to"]) == set(POSITION_KEYS)
    assert set(table["top"]) == {"keeps", "changes", "either"}
    assert (table["weight"] > 0).all()
    assert table["reason"].str.len().min() > 0
    assert not table.duplicated(["from", "to", "top"]).any()
    assert set(durations().index) == {*POSITION_KEYS, UNKNOWN}
    rules = grammar(STATES, rare=0.02)
    with np.errstate(under="ignore"):
        np.testing.assert_allclose(np.exp(rules.log_transition).sum(axis=1), 1)


def test_a_sweep_is_likelier_from_guard_than_from_under_side_control():
    rules = grammar(STATES, rare=0.02)
    at = {state: k for k, state in enumerate(rules.states)}
    swept = rules.log_transition[at["closed_guard/A"], at["mount/B"]]
    passed = rules.log_transition[at["side_control/A"], at["mount/B"]]
    assert swept > passed
