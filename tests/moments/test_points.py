"""Proposed points on worked examples.

Source beside each: "rule text" is the international federation's published rule book as publicly
quoted (articles 3.1, 3.2, 3.4, 4.1, 4.4, 4.6); "memory" says so.
"""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.errors import MatlineError
from pipeline.moments import RuleSet, find_moments, propose_points, rule_sets
from pipeline.timeline import Moment
from tests.moments.acting import script, table

EMPTY = table(np.arange(0.0))
INTERNATIONAL = RuleSet.load("international_federation")
NO_GI = RuleSet.load("no_gi_submission_federation")


def tally(*parts, rules=INTERNATIONAL, bout_s=(-1000.0, 0.0)):
    segments = script(*parts)
    return propose_points(find_moments(EMPTY, segments), segments, rules, bout_s)


def score(*parts, **more):
    result = tally(*parts, **more)
    return result.total("A"), result.total("B")


def test_pass_then_mount_adds_up_to_seven():
    # Rule text, article 3.4: "guard pass followed by mount shall add up 7 points (3+4)".
    assert score((9, "half_guard", "A"), (1, "side_control", "A"), (3, "mount", "A")) == (7, 0)
    assert score((9, "half_guard", "A"), (4, "mount", "A")) == (7, 0)


def test_takedown_straight_to_mount_is_six_and_to_knee_on_belly_four():
    # Rule text, article 4.1 with public notes: 2 + 4 and 2 + 2, once held for 3 s.
    feet = ((5, "standing", None), (2, "takedown", "B"))
    assert score(*feet, (4, "mount", "B")) == (0, 6)
    assert score(*feet, (4, "knee_on_belly", "B")) == (0, 4)


def test_pulling_someone_down_on_top_of_oneself_is_no_takedown():
    # Rule text, article 4.1 with public notes.
    assert score((5, "standing", None), (9, "closed_guard", "A")) == (0, 0)


@pytest.mark.parametrize(("held", "points"), [(2.9, 0), (3.0, 4)])
def test_points_need_three_seconds(held, points):
    # Rule text, article 3.1.
    result = tally((5, "side_control", "A"), (held, "mount", "A"), (5, "half_guard", "A"))
    assert result.total("A") == points
    assert [m.kind for m in result.came_close] == ([] if points else ["mount_taken_attempt"])


def test_the_same_position_again_in_one_control_scores_once():
    # Rule text, article 3.2, as far as a camera knows: intent it can't see.
    result = tally(
        (4, "side_control", "A"), (4, "mount", "A"), (4, "side_control", "A"), (4, "mount", "A")
    )
    assert result.total("A") == 4
    assert [n.reason for n in result.not_counted] == ["the same position again in one control"]


def test_after_the_guard_is_recovered_the_same_positions_score_again():
    # Memory: a new control begins when the opponent is back in guard.
    assert score(
        (4, "half_guard", "A"), (4, "mount", "A"), (4, "half_guard", "A"), (4, "mount", "A")
    ) == (14, 0)


def test_a_sweep_starts_from_guard_or_half_guard():
    # Rule text, article 4.6: from guard or half guard; from elsewhere no points.
    assert score((9, "half_guard", "A"), (4, "closed_guard", "B")) == (0, 2)
    assert score((9, "side_control", "A"), (4, "closed_guard", "B")) == (0, 0)
    assert score((9, "mount", "A"), (4, "closed_guard", "B")) == (4, 0)


def test_mount_and_back_are_positions_of_their_own():
    # Rule text, article 4.4: each four points when held for three seconds.
    assert score((4, "side_control", "A"), (4, "mount", "A"), (4, "back_control", "A")) == (8, 0)


def test_positions_passed_through_add_up_when_the_last_is_held():
    # Rule text, article 3.4; that it holds for knee on belly on the way is from memory.
    assert score(
        (4, "half_guard", "A"), (1, "side_control", "A"), (1, "knee_on_belly", "A"),
        (3, "mount", "A"),
    ) == (9, 0)  # fmt: skip
    assert score(
        (4, "side_control", "A"),
        (1, "knee_on_belly", "A"),
        (1, "mount", "A"),
        (4, "half_guard", "A"),
    ) == (0, 0)


def test_a_whole_bout_is_told_in_order():
    result = tally(
        (10, "standing", None), (2, "takedown", "A"), (20, "half_guard", "A"),
        (1, "scramble", None), (6, "half_guard", "B"), (6, "side_control", "B"), (2, "mount", "B"),
        (5, "half_guard", "B"),
    )  # fmt: skip
    told = [(p.moment.kind, p.athlete, p.points, p.at_s) for p in result.points]
    assert told == [
        ("takedown", "A", 2, 15.0), ("sweep", "B", 2, 36.0), ("guard_pass", "B", 3, 42.0),
    ]  # fmt: skip
    assert [m.kind for m in result.came_close] == ["mount_taken_attempt"]
    assert (result.total("B", until_s=40), result.total("B")) == (2, 5)


def test_no_gi_counts_a_clean_takedown_or_sweep_double():
    # The no-gi federation's rules as publicly quoted; values from memory.
    feet = ((5, "standing", None), (2, "takedown", "A"))
    assert score(*feet, (5, "half_guard", "A"), rules=NO_GI) == (2, 0)
    assert score(*feet, (5, "side_control", "A"), rules=NO_GI) == (4, 0)
    assert score((5, "half_guard", "A"), (5, "closed_guard", "B"), rules=NO_GI) == (0, 2)
    assert score((5, "half_guard", "A"), (5, "side_control", "B"), rules=NO_GI) == (0, 4)


def test_no_gi_counts_the_pass_alone_when_passing_straight_to_mount():
    # The no-gi federation's rules as publicly quoted.
    result = tally((9, "half_guard", "A"), (4, "mount", "A"), rules=NO_GI)
    assert result.total("A") == 3
    assert "only the pass" in result.not_counted[0].reason
    assert score(
        (9, "half_guard", "A"), (4, "side_control", "A"), (4, "mount", "A"), rules=NO_GI
    ) == (5, 0)


def test_no_gi_counts_a_position_again_when_it_was_left_for_three_seconds():
    # The no-gi federation's rules as publicly quoted.
    def twice(pause):
        return score(
            (4, "side_control", "A"), (4, "back_control", "A"), (pause, "turtle", "A"),
            (4, "back_control", "A"), rules=NO_GI,
        )  # fmt: skip

    assert twice(2) == (3, 0)
    assert twice(3) == (6, 0)


def test_no_gi_has_no_positive_points_in_the_first_half():
    # The no-gi federation's rules as publicly quoted (2013: first half without points).
    parts = (
        (5, "side_control", "A"), (10, "mount", "A"), (15, "half_guard", "A"),
        (20, "side_control", "A"), (10, "half_guard", "A"),
    )  # fmt: skip
    result = tally(*parts, rules=NO_GI, bout_s=(0.0, 60.0))
    assert [(p.moment.kind, p.at_s) for p in result.points] == [("guard_pass", 33.0)]
    assert [n.moment.kind for n in result.not_counted] == ["mount_taken"]
    assert tally(*parts, rules=NO_GI, bout_s=None).total("A") == 3


def test_a_moment_that_a_human_added_counts_as_said():
    added = [Moment(4.0, 5.0, 6.0, "back_taken", "B"), Moment(7, 8, 9, "mount_taken_attempt", "B")]
    result = propose_points(added, [], INTERNATIONAL)
    assert result.total("B") == 4
    assert len(result.came_close) == 1


def test_exchanging_the_athletes_exchanges_the_points():
    parts = ((5, "standing", None), (2, "takedown", "A"), (5, "half_guard", "A"), (4, "mount", "B"))
    other = {"A": "B", "B": "A", None: None}
    assert score(*((s, p, other[t]) for s, p, t in parts)) == score(*parts)[::-1]


def test_every_shipped_rule_set_says_its_edition_and_source():
    assert {"international_federation", "no_gi_submission_federation"} <= set(rule_sets())
    for name in rule_sets():
        rules = RuleSet.load(name)
        assert rules.name
        assert rules.edition
        assert rules.source
        assert rules.awards


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("name = ", "not readable"),
        ('name = "x"\nedition = "y"\nsource = "z"\n[[award]]\nkind = "nap"\npoints = 9', "nap"),
        ('name = "x"\nedition = "y"\nsource = "z"\ncolour = 3', "colour"),
        ('edition = "y"\nsource = "z"', "name"),
        (
            'name = "x"\nedition = "y"\nsource = "z"\n'
            '[[award]]\nkind = "sweep"\npoints = 2\nwhen = "monday"',
            "monday",
        ),
    ],
)
def test_a_broken_rule_set_is_refused_in_one_sentence(tmp_path, text, says):
    path = tmp_path / "own.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(MatlineError, match=says):
        RuleSet.load(path)
    with pytest.raises(MatlineError, match="international_federation"):
        RuleSet.load("nowhere")


def test_a_users_own_rule_set_is_read_from_a_file(tmp_path):
    path = tmp_path / "club.toml"
    path.write_text(
        'name = "Club"\nedition = "1"\nsource = "our wall"\ncontrol_s = 5.0\n'
        '[[award]]\nkind = "mount_taken"\npoints = 1\n',
        encoding="utf-8",
    )
    rules = RuleSet.load(path)
    assert score((5, "side_control", "A"), (4, "mount", "A"), rules=rules) == (0, 0)
    assert score((5, "side_control", "A"), (5, "mount", "A"), rules=rules) == (1, 0)
