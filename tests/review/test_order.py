"""Where a look pays most, and an audit that can't flatter."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from pipeline.review.audit import audit, audited, wilson
from pipeline.review.order import Doubts, identity_doubt, order_of_work
from pipeline.review.trace import swapped, thin
from pipeline.settings import ReviewSettings
from pipeline.timeline import Segment, State, Timeline
from tests.review.bouts import keypoints

SETTINGS = ReviewSettings()


def segments(*confidences: float) -> Timeline:
    rows = [
        Segment(10.0 * i, 10.0 * (i + 1), "mount", "A", confidence, id=f"s{i}")
        for i, confidence in enumerate(confidences)
    ]
    return Timeline(tuple(rows))


def doubts(timeline: Timeline) -> Doubts:
    times = np.arange(0, timeline.segments[-1].end_s, 0.2)
    confidence = [timeline.at(t).confidence for t in times]  # type: ignore[union-attr]
    table = pd.DataFrame({"mount": confidence}, index=times)
    return Doubts.of(times, np.zeros((len(times), 2, 17, 3), np.float32), table)


def test_the_most_doubtful_comes_first_and_says_why():
    timeline = segments(0.95, 0.3, 0.97, 0.6)
    order = order_of_work(timeline, doubts(timeline), frozenset(), SETTINGS)
    assert [one.id for one in order[:2]] == ["s1", "s3"]
    assert "only 30% sure of the position" in order[0].reasons


def test_what_a_human_has_said_is_not_asked_again():
    timeline = segments(0.3, 0.3)
    done = replace(timeline.segments[0], state=State.ACCEPTED)
    timeline = timeline.with_segments([done, timeline.segments[1]])
    assert [o.id for o in order_of_work(timeline, doubts(timeline), frozenset(), SETTINGS)] == [
        "s1"
    ]


def test_audits_come_among_the_doubtful_and_nothing_marks_them():
    timeline = segments(*[0.4] * 8, *[0.99] * 8)
    chosen = frozenset({"s12", "s15"})
    order = [o.id for o in order_of_work(timeline, doubts(timeline), chosen, SETTINGS)]
    assert order[SETTINGS.audit_every] in chosen
    assert order[2 * SETTINGS.audit_every + 1] in chosen
    assert sorted(order) == sorted(s.id for s in timeline.segments)


def test_an_exchange_of_the_athletes_shows_in_their_movement():
    points = keypoints(np.arange(0, 3, 0.2))
    points[8:] = points[8:, ::-1]
    doubt = identity_doubt(points)
    assert doubt[8] > SETTINGS.turned
    assert np.delete(doubt, 8).max() < 0.5


def test_an_exchange_put_right_by_hand_is_no_longer_doubtful():
    times = np.arange(0, 3, 0.2)
    points = keypoints(times)
    points[8:] = points[8:, ::-1]
    doubts = Doubts(times, np.zeros(len(times)), identity_doubt(points))
    assert doubts.after([times[8]]).identity.max() < 0.5
    assert doubts.after([times[3]]).identity[8] > SETTINGS.turned


def test_the_audit_is_drawn_from_confident_proposals_and_is_always_the_same():
    timeline = segments(*[0.4] * 40, *[0.9] * 60)
    chosen = audited(timeline, "bout", SETTINGS)
    assert len(chosen) == 6
    assert all(s.confidence >= SETTINGS.confident for s in chosen)
    assert chosen == audited(timeline, "bout", SETTINGS)
    assert chosen != audited(timeline, "another bout", SETTINGS)


def test_the_audit_counts_only_what_was_looked_at():
    proposal = segments(0.9, 0.9, 0.9, 0.9)
    first, second, third, fourth = proposal.segments
    now = Timeline(
        (
            replace(first, state=State.ACCEPTED),
            replace(second, state=State.CORRECTED, position="back_control"),
            replace(third, state=State.CORRECTED, top="B"),
            fourth,
        )
    )
    outcome = audit(list(proposal.segments), now, swaps=[])
    assert (outcome.answered, outcome.right) == (3, 1)


def test_athletes_swapped_by_hand_do_not_count_as_a_wrong_position():
    proposal = segments(0.9)
    turned = replace(proposal.segments[0], top="B", state=State.ACCEPTED)
    assert audit(list(proposal.segments), Timeline((turned,)), swaps=[0.0]).right == 1


@pytest.mark.parametrize(
    ("right", "count", "low", "high"),
    # Newcombe 1998, Statistics in Medicine 17:857–872, table I, method 3 (values from memory).
    [
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0, 0.1611),
        (1, 29, 0.0061, 0.1718),
    ],
)
def test_the_interval_is_wilsons(right, count, low, high):
    assert wilson(right, count) == pytest.approx((low, high), abs=1e-4)


def test_a_short_rise_is_never_thinned_away():
    heights = np.zeros((2, 36_000))
    heights[1, 20_001] = 1.0
    heights[0, 7_777] = np.nan
    kept = thin(heights, 500)
    assert 20_001 in kept
    assert len(kept) <= 500 * 5
    assert np.all(np.diff(kept) > 0)


def test_two_swaps_undo_each_other():
    times = np.array([0.0, 1.0, 2.0, 3.0])
    assert swapped(times, [3.0, 1.0]).tolist() == [False, True, True, False]
