"""A correction does what the human meant, and never harms the rest of the timeline."""

from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.errors import MatlineError
from pipeline.timeline import (
    ACTIONS,
    POSITION_KEYS,
    Correction,
    CorrectionError,
    Moment,
    Segment,
    State,
    Timeline,
    apply,
)

BOUT = Timeline(
    (
        Segment(0, 10, "standing", id="s1", confidence=0.9),
        Segment(10, 20, "closed_guard", "A", id="s2", confidence=0.6),
        Segment(20, 30, "mount", "B", id="s3", confidence=0.8),
        Segment(35, 40, "apart", id="s4"),
    ),
    (Moment(18, 19, 21, "sweep", "B", id="m1"), Moment(5, 5.5, 6, "rise", "A", id="m2")),
)


def correct(action: str, **arguments: object) -> Timeline:
    return apply(BOUT, Correction(action, arguments))


def spans(timeline: Timeline) -> list[tuple[float, float, str]]:
    return [(s.start_s, s.end_s, s.position) for s in timeline.segments]


def segment(timeline: Timeline, id: str) -> Segment:
    return next(s for s in timeline.segments if s.id == id)


def test_accepting_keeps_the_readers_confidence_for_later_calibration():
    accepted = segment(correct("accept", segment="s2"), "s2")
    assert (accepted.state, accepted.confidence) == (State.ACCEPTED, 0.6)


def test_accepting_what_was_corrected_leaves_it_corrected():
    once = correct("relabel", segment="s2", position="half_guard")
    assert segment(apply(once, Correction("accept", {"segment": "s2"})), "s2").state == "corrected"


def test_relabelling_keeps_who_is_on_top():
    relabelled = segment(correct("relabel", segment="s2", position="half_guard/knee shield"), "s2")
    assert relabelled.position == "half_guard/knee shield"
    assert (relabelled.top, relabelled.state, relabelled.confidence) == ("A", "corrected", 1.0)


def test_relabelling_to_a_position_without_top_drops_the_top_athlete():
    assert segment(correct("relabel", segment="s2", position="standing"), "s2").top is None


def test_nobody_is_on_top_while_standing():
    with pytest.raises(CorrectionError, match="nobody is on top"):
        correct("set_top", segment="s1", top="A")


def test_a_split_vouches_for_neither_half():
    halves = correct("split", segment="s2", time_s=14.0, id="new").segments[1:3]
    assert [(h.start_s, h.end_s, h.id, h.state) for h in halves] == [
        (10, 14.0, "s2", "proposed"),
        (14.0, 20, "new", "proposed"),
    ]


def test_a_split_outside_the_segment_says_where_it_runs():
    with pytest.raises(CorrectionError, match=r"from 10\.000 to 20\.000"):
        correct("split", segment="s2", time_s=25.0)


def test_merging_takes_the_gap_with_it_and_the_label_asked_for():
    assert spans(correct("merge", segment="s3"))[-1] == (20, 40, "mount")
    assert spans(correct("merge", segment="s3", keep="second"))[-1] == (20, 40, "apart")


def test_moving_a_border_takes_the_touching_neighbour_along():
    moved = correct("move_border", segment="s2", edge="end", time_s=18.0)
    assert spans(moved)[1:3] == [(10, 18.0, "closed_guard"), (18.0, 30, "mount")]
    assert [s.state for s in moved.segments] == ["proposed", "corrected", "corrected", "proposed"]


def test_moving_a_border_into_a_gap_leaves_the_neighbour_alone():
    moved = correct("move_border", segment="s4", edge="start", time_s=32.0)
    assert spans(moved)[2:] == [(20, 30, "mount"), (32.0, 40, "apart")]
    assert segment(moved, "s3").state == "proposed"


def test_a_border_never_swallows_a_segment():
    with pytest.raises(CorrectionError, match="nothing would be left"):
        correct("move_border", segment="s2", edge="end", time_s=30.0)


def test_swapping_athletes_from_the_middle_of_a_segment_cuts_it_there():
    swapped = correct("swap_athletes", from_s=15.0, id="new")
    assert [(s.start_s, s.top) for s in swapped.segments] == [
        (0, None), (10, "A"), (15.0, "B"), (20, "A"), (35, None),
    ]  # fmt: skip
    assert [(m.id, m.athlete) for m in swapped.moments] == [("m2", "A"), ("m1", "A")]


def test_bounds_drop_what_happened_before_and_after_the_bout():
    inside = correct("set_bounds", start_s=8.0, end_s=25.0)
    assert spans(inside) == [(8.0, 10, "standing"), (10, 20, "closed_guard"), (20, 25.0, "mount")]
    assert [m.id for m in inside.moments] == ["m1"]


def test_a_segment_painted_over_others_cuts_them():
    painted = correct("add_segment", start_s=12.0, end_s=15.0, position="turtle", top="B")
    assert spans(painted)[1:4] == [
        (10, 12.0, "closed_guard"), (12.0, 15.0, "turtle"), (15.0, 20, "closed_guard"),
    ]  # fmt: skip
    assert len({s.id for s in painted.segments}) == 6


def test_an_edited_moment_is_corrected_and_a_note_alone_is_not():
    assert correct("edit_moment", moment="m1", note="grip").moments[1].state == "proposed"
    edited = correct("edit_moment", moment="m1", athlete=None).moments[1]
    assert (edited.athlete, edited.state, edited.kind) == (None, "corrected", "sweep")


def test_moments_can_be_added_accepted_and_removed():
    assert correct("add_moment", kind="sweep_attempt", peak_s=3.0).moments[0].peak_s == 3.0
    assert correct("accept_moment", moment="m1").moments[1].state == "accepted"
    assert [m.id for m in correct("remove_moment", moment="m1").moments] == ["m2"]


@pytest.mark.parametrize(
    ("data", "complaint"),
    [
        ({"action": "erase"}, "Unknown correction"),
        ({"action": "accept"}, "segment is missing"),
        ({"action": "accept", "arguments": {"segment": 3}}, "can't be 3"),
        ({"action": "accept", "arguments": {"segment": "a", "force": True}}, "unknown argument"),
        ({"action": "split", "arguments": {"segment": "a", "time_s": "now"}}, "can't be 'now'"),
        (
            {"action": "split", "arguments": {"segment": "a", "time_s": float("nan")}},
            "can't be nan",
        ),
        ({"action": "set_top", "arguments": {"segment": "a", "top": "C"}}, "can't be 'C'"),
        (["accept"], "needs an action"),
    ],
)
def test_what_is_no_correction_is_refused_in_a_sentence(data, complaint):
    with pytest.raises(CorrectionError, match=complaint):
        Correction.from_dict(data)


def test_a_correction_survives_json_with_the_ids_it_creates():
    made = Correction("split", {"segment": "s2", "time_s": 12.5})
    again = Correction.from_json(made.to_json())
    assert again == made
    assert apply(BOUT, again) == apply(BOUT, made)


TIMES = st.floats(0, 45, allow_nan=False).map(lambda t: round(t, 2))


@st.composite
def corrections(draw, timeline: Timeline):
    """Draw any correction, most of them of things that are in the timeline."""
    ids = st.sampled_from([s.id for s in timeline.segments] + ["gone"])
    moment_ids = st.sampled_from([m.id for m in timeline.moments] + ["gone"])
    top = st.sampled_from(["A", "B", None])
    label = st.sampled_from(POSITION_KEYS)
    choices = {
        "accept": {"segment": ids},
        "relabel": {"segment": ids, "position": label},
        "set_top": {"segment": ids, "top": top},
        "note": {"segment": ids, "text": st.text(max_size=5)},
        "split": {"segment": ids, "time_s": TIMES},
        "merge": {"segment": ids, "keep": st.sampled_from(["first", "second"])},
        "move_border": {
            "segment": ids, "edge": st.sampled_from(["start", "end"]), "time_s": TIMES,
        },
        "add_segment": {"start_s": TIMES, "end_s": TIMES, "position": label, "top": top},
        "remove_segment": {"segment": ids},
        "set_bounds": {"start_s": TIMES, "end_s": TIMES},
        "swap_athletes": {"from_s": TIMES},
        "accept_moment": {"moment": moment_ids},
        "add_moment": {"kind": st.just("rise"), "peak_s": TIMES},
        "edit_moment": {"moment": moment_ids, "peak_s": TIMES, "athlete": top},
        "remove_moment": {"moment": moment_ids},
    }  # fmt: skip
    assert set(choices) == set(ACTIONS)
    action = draw(st.sampled_from(sorted(choices)))
    return Correction(action, draw(st.fixed_dictionaries(choices[action])))


@settings(max_examples=150, deadline=None)
@given(data=st.data())
def test_no_sequence_of_corrections_makes_segments_overlap_or_share_an_id(data):
    timeline = BOUT
    for _ in range(data.draw(st.integers(1, 25))):
        try:
            timeline = apply(timeline, data.draw(corrections(timeline)))
        except MatlineError:
            continue
        for before, after in pairwise(timeline.segments):
            assert before.start_s < before.end_s <= after.start_s + 1e-6
        ids = [s.id for s in timeline.segments] + [m.id for m in timeline.moments]
        assert len(ids) == len(set(ids))


@settings(max_examples=80, deadline=None)
@given(from_s=TIMES)
def test_swapping_twice_from_the_same_time_changes_nobody(from_s):
    once = correct("swap_athletes", from_s=from_s)
    twice = apply(once, Correction("swap_athletes", {"from_s": from_s}))
    for time_s in (s.start_s + 0.005 for s in (*BOUT.segments, *twice.segments)):
        before, after = BOUT.at(time_s), twice.at(time_s)
        assert (before and before.top) == (after and after.top)
    assert twice.moments == tuple(replace(m) for m in BOUT.moments)
