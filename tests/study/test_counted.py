"""A report must follow what people said, also where they corrected only the positions."""

from dataclasses import replace

from pipeline.outputs.study import VOUCHED
from pipeline.outputs.study.counted import counted_moments
from pipeline.timeline import State, Timeline
from tests.study.conftest import moment, segment


def swept(first=State.ACCEPTED, second=State.ACCEPTED):
    return (
        segment(0, 20, "half_guard", "B", first),
        segment(20, 40, "side_control", "A", second),
    )


def kinds(moments):
    return [(m.kind, m.athlete, m.peak_s) for m in moments]


def test_a_sweep_counts_once_the_positions_around_it_are_accepted():
    assert kinds(counted_moments(Timeline(swept()), VOUCHED)) == [("sweep", "A", 20)]


def test_a_sweep_between_an_accepted_and_a_proposed_position_does_not_count():
    for states in ((State.PROPOSED, State.ACCEPTED), (State.ACCEPTED, State.PROPOSED)):
        assert counted_moments(Timeline(swept(*states)), VOUCHED) == []


def test_a_proposed_sweep_is_forgotten_when_the_positions_were_corrected():
    stale = moment(20, "sweep", "A", State.PROPOSED)
    corrected = (segment(0, 40, "half_guard", "B", State.CORRECTED),)
    assert counted_moments(Timeline(corrected, (stale,)), frozenset(State)) == []


def test_what_a_person_removed_stays_removed():
    proposed = moment(20.3, "sweep", "A", State.PROPOSED)
    proposal = Timeline(swept(), (proposed,))
    assert counted_moments(Timeline(swept()), VOUCHED, proposal) == []


def test_what_a_person_said_is_not_counted_twice():
    said = moment(20.6, "sweep_attempt", "A", State.CORRECTED)
    assert kinds(counted_moments(Timeline(swept(), (said,)), VOUCHED)) == [
        ("sweep_attempt", "A", 20.6)
    ]


def test_rises_count_in_their_own_state():
    rise = moment(10, "rise", "A", State.PROPOSED)
    assert rise not in counted_moments(Timeline(swept(), (rise,)), VOUCHED)
    assert rise in counted_moments(Timeline(swept(), (rise,)), frozenset(State))
    accepted = replace(rise, state=State.ACCEPTED)
    assert accepted in counted_moments(Timeline(swept(), (accepted,)), VOUCHED)
