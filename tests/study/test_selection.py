"""The wrong bouts in a report, or the right ones from the wrong side, mislead."""

import pytest

from pipeline.errors import MatlineError
from pipeline.outputs.study import Selection, select
from pipeline.timeline import State
from tests.study.conftest import BY_HAND, put


@pytest.fixture
def club(library):
    put(library, BY_HAND, title="1", names={"A": "Kim", "B": "Noor"}, event="Harbour Open",
        date="2026-03-01", ruleset="international_federation")  # fmt: skip
    put(library, BY_HAND, title="2", names={"A": "Iris", "B": "Kim"}, event="Autumn Cup",
        date="2026-09-05", ruleset="no_gi_submission_federation")  # fmt: skip
    put(library, BY_HAND, title="3", names={"A": "Kimmo", "B": "Noor"}, event="Autumn Cup", we="B")
    return library


def titles(found):
    return [s.bout.title for s in found]


def test_an_athlete_is_found_on_either_side_and_is_own(club):
    found = select(club, Selection(athlete="kim"))
    assert [(s.bout.title, s.own) for s in found] == [("1", "A"), ("2", "B")]


def test_the_opponent_asked_for_is_not_own(club):
    assert [s.own for s in select(club, Selection(opponent="Noor"))] == ["A", "A"]


def test_without_an_athlete_ours_is_own(club):
    assert {s.bout.title: s.own for s in select(club)} == {"1": "A", "2": "A", "3": "B"}


def test_filters_narrow_together(club):
    asked = Selection(event="autumn cup", ruleset="No-Gi Submission Federation")
    assert titles(select(club, asked)) == ["2"]
    assert titles(select(club, Selection(since="2026-03-02", until="2026-12-31"))) == ["2"]


def test_a_name_that_is_nowhere_is_answered_with_those_there_are(club):
    with pytest.raises(MatlineError, match="Iris, Kim, Kimmo, Noor"):
        select(club, Selection(athlete="Kym"))


def test_a_bad_date_is_refused():
    with pytest.raises(MatlineError, match="2026-03-01"):
        Selection(since="1.3.2026")


def test_an_unread_bout_is_named(library, tmp_path):
    library.add_bout(tmp_path / "new.mp4", 60.0)
    with pytest.raises(MatlineError, match="new has not been read"):
        select(library)


def test_proposals_count_only_when_asked_for(club):
    asked = select(club, Selection(states=frozenset(State)))
    assert asked[0].left_out_s == 0
    assert select(club)[0].left_out_s == 10


def test_a_bout_is_found_by_its_title_unless_two_share_it(club):
    assert titles(select(club, Selection(bouts=("2",)))) == ["2"]
    with pytest.raises(MatlineError, match="matline bouts"):
        select(club, Selection(bouts=("4",)))
    put(club, BY_HAND, title="2")
    with pytest.raises(MatlineError, match="by id"):
        select(club, Selection(bouts=("2",)))
