"""A wrong count sends someone to train the wrong thing."""

import pytest
from scipy.stats import binomtest

from pipeline.errors import MatlineError
from pipeline.moments import link_outcomes
from pipeline.outputs.study import (
    Study,
    StudyBout,
    attempts,
    elevations,
    entries_and_exits,
    first_and_last,
    rates,
    spells,
    time_by_side,
    time_in_positions,
    transition_matrix,
    transitions,
    wilson,
)
from pipeline.settings import MomentsSettings, StudySettings
from pipeline.timeline import State, Timeline
from tests.study.conftest import BY_HAND, moment, segment


def test_time_adds_up_to_what_was_vouched_for(bout):
    table = time_in_positions(spells([bout]))
    found = {(r.position, r.side): (r.seconds, r.visits) for r in table.itertuples()}
    assert found == {
        ("standing", "neither"): (20, 1),
        ("takedown", "bottom"): (10, 1),
        ("half_guard", "bottom"): (60, 1),  # a finer label doesn't make a second visit
        ("side_control", "top"): (30, 1),
        ("mount", "top"): (20, 1),
        ("half_guard", "top"): (30, 1),
    }
    assert table["share"].sum() == pytest.approx(1)
    assert bout.left_out_s == 10
    assert bout.left_out_moments == 1


def test_the_opponent_sees_top_where_we_see_bottom(bout):
    theirs = StudyBout.of(bout.bout, "B", BY_HAND)
    ours, other = time_by_side(spells([bout])), time_by_side(spells([theirs]))
    assert ours["top"] == other["bottom"] == 80
    assert ours["bottom"] == other["top"] == 70
    assert ours["neither"] == other["neither"] == 20


def test_no_transition_is_claimed_across_a_gap(bout):
    table = transitions([bout])
    assert list(table["to_position"]) == ["takedown", "half_guard", "side_control", "mount"]
    assert list(table["clock_s"]) == [20, 30, 90, 120]


def test_the_matrix_and_the_entries_count_the_same_changes(bout):
    table = transitions([bout])
    matrix = transition_matrix(table)
    assert matrix.loc["half_guard, bottom", "side_control, top"] == 1
    assert matrix.to_numpy().sum() == len(table)
    ways = entries_and_exits(table)
    assert (ways.groupby("way")["times"].sum() == len(table)).all()


def test_first_and_last_minute_are_cut_on_the_bout_clock(bout):
    table = first_and_last([bout], StudySettings(edge_s=60))
    seconds = table.groupby(["part", "position"])["seconds"].sum()
    assert seconds["first"].to_dict() == {"standing": 20, "takedown": 10, "half_guard": 30}
    assert seconds["last"].to_dict() == {"mount": 10, "half_guard": 30}


def test_each_attempt_says_from_where_after_what_and_what_then(bout):
    table = attempts([bout]).set_index("kind")
    sweeps = table.loc["sweep"]
    assert list(sweeps["held"]) == [False, True]
    assert list(sweeps["elevation"]) == ["rise", "lift"]
    assert list(sweeps["elevation_before_s"]) == [2, 7]
    assert list(sweeps["from_position"]) == ["half_guard", "half_guard"]
    assert list(sweeps["from_side"]) == ["bottom", "bottom"]
    assert list(sweeps["after_side"]) == ["bottom", "top"]
    takedown = table.loc["takedown"]
    assert (takedown["by"], takedown["from_position"]) == ("opponent", "takedown")
    assert takedown["after_side"] == "top"  # the side of who attempts
    assert table.loc["mount_taken", "followed_by"] == "back_taken_attempt (same athlete)"


def test_an_elevation_of_the_opponent_explains_nothing(bout):
    timeline = Timeline(BY_HAND.segments, (moment(95, "lift", "B"), moment(100, "sweep", "A")))
    table = attempts([StudyBout.of(bout.bout, "A", timeline)]).set_index("kind")
    assert table.loc["sweep", "elevation"] == ""


def test_an_elevation_too_long_before_explains_nothing(bout):
    timeline = Timeline(BY_HAND.segments, (moment(85, "lift", "A"), moment(100, "sweep", "A")))
    one = StudyBout.of(bout.bout, "A", timeline)
    assert attempts([one]).set_index("kind").loc["sweep", "elevation"] == ""
    assert elevations([one])["led_to"].tolist() == [""]
    wider = attempts([one], StudySettings(outcome_s=20)).set_index("kind")
    assert wider.loc["sweep", "elevation"] == "lift"


def test_elevations_say_what_they_led_to(bout):
    table = elevations([bout])
    assert table["led_to"].tolist() == ["sweep_attempt", "sweep"]


def test_rates_count_attempts_of_each_side(bout):
    table = rates(attempts([bout])).set_index(["kind", "by"])
    sweep = table.loc[("sweep", "own")]
    assert (sweep["attempts"], sweep["held"], sweep["not_held"]) == (2, 1, 1)
    assert sweep["few"]
    assert table.loc[("takedown", "opponent"), "held"] == 1


def test_trends_follow_the_order_of_events(library):
    from pipeline.outputs.study import Selection, select
    from tests.study.conftest import put

    put(library, BY_HAND, names={"A": "Kim"}, event="Autumn Cup", date="2026-09-05")
    put(library, BY_HAND, names={"A": "Kim"}, event="Harbour Open", date="2026-03-01")
    put(library, BY_HAND, names={"A": "Kim"}, event="Autumn Cup", date="2026-09-05")
    trends = Study.of(select(library, Selection(athlete="kim"))).trends
    sweeps = trends[trends["kind"] == "sweep"]
    assert sweeps["event"].tolist() == ["Harbour Open", "Autumn Cup"]
    assert sweeps["attempts"].tolist() == [2, 4]


@pytest.mark.parametrize(
    ("successes", "of", "low", "high"),
    [
        # R. G. Newcombe, Statistics in Medicine 17 (1998) 857–872, table I, method 3 (from memory).
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0000, 0.1611),
        (1, 29, 0.0061, 0.1718),
    ],
)
def test_wilson_interval_is_the_published_one(successes, of, low, high):
    assert wilson(successes, of) == pytest.approx((low, high), abs=5e-5)


def test_wilson_interval_solves_its_own_definition():
    # Wilson (1927): the bounds are the p for which |p̂ − p| is z standard errors at p.
    from scipy.stats import norm

    low, high = wilson(7, 12, 0.9)
    z = norm.ppf(0.95)
    for p in (low, high):
        assert abs(7 / 12 - p) == pytest.approx(z * (p * (1 - p) / 12) ** 0.5)
    assert binomtest(7, 12, low, alternative="greater").pvalue < 0.1


def test_nothing_attempted_says_nothing():
    assert wilson(0, 0) == (0.0, 1.0)


def test_proposals_alone_are_refused_with_what_to_do(bout):
    only = Timeline((segment(10, 20, "mount", "A", State.PROPOSED),))
    with pytest.raises(MatlineError, match="accepted or corrected"):
        Study.of([StudyBout.of(bout.bout, "A", only)])


def test_what_an_elevation_led_to_is_the_same_when_read_and_when_reported(bout):
    moments = [
        moment(60, "rise", "A"), moment(70.4, "sweep", "A"),  # within 10 s of the end, not the peak
        moment(120, "lift", "A"), moment(131, "back_taken_attempt", "A"),
        moment(150, "rise", "B"), moment(154, "stand_up_attempt", "B"), moment(155, "sweep", "A"),
    ]  # fmt: skip
    one = StudyBout.of(bout.bout, "A", Timeline(BY_HAND.segments, tuple(moments)))
    reported = elevations([one]).set_index("time_s")["led_to"]
    linked = link_outcomes(one.timeline.moments, MomentsSettings().outcome_s)
    read = {
        m.peak_s: "".join(
            name.removeprefix("led_to_")
            for name, value in m.evidence.items()
            if name.startswith("led_to_") and value
        )
        for m in linked
        if m.kind in ("rise", "lift")
    }
    assert reported.to_dict() == read
    assert read == {60: "sweep", 120: "", 150: "stand_up_attempt"}
