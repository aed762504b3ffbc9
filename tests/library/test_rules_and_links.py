"""Rules and cameras are those that were meant, or a sentence says what there is."""

from pathlib import Path

import pytest

from pipeline.errors import MatlineError
from pipeline.library import Library
from pipeline.moments import RuleSet, usual_or
from pipeline.moments.rules import _shipped
from pipeline.outputs.clips import Wanted


@pytest.fixture
def library(tmp_path: Path) -> Library:
    return Library(tmp_path / "library")


def bout(library: Library, **details) -> str:
    return library.add_bout(Path("x.mp4"), 60.0, **details).id


@pytest.mark.parametrize(
    ("asked", "meant"),
    [("internatinal", "international_federation"), ("nogi", "no_gi_submission_federation")],
)
def test_an_unknown_rule_set_is_refused_with_the_nearest(library, asked, meant):
    one = bout(library)
    with pytest.raises(MatlineError, match=f"did you mean {meant}"):
        library.update_bout(one, ruleset=asked)
    with pytest.raises(MatlineError, match="no rule set"):
        bout(library, ruleset=asked)
    assert library.bout(one).ruleset == ""


def test_a_rule_set_may_be_written_as_the_page_shows_it(library):
    one = library.update_bout(bout(library), ruleset="No-Gi submission federation")
    assert one.ruleset == "no_gi_submission_federation"


def test_points_follow_a_rule_file_of_ones_own_wherever_the_command_runs(
    library, tmp_path, monkeypatch
):
    text = _shipped()["international_federation"].read_text(encoding="utf-8")
    (tmp_path / "club.toml").write_text(text.replace("points = 2", "points = 7"), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    one = library.update_bout(bout(library), ruleset="club.toml")
    monkeypatch.chdir("/")
    assert 7 in {award.points for award in usual_or(one.ruleset).awards}
    (tmp_path / "club.toml").unlink()
    with pytest.raises(MatlineError, match=r"club\.toml"):
        usual_or(one.ruleset)


def test_a_rule_file_that_does_not_fit_is_refused_when_it_is_chosen(library, tmp_path):
    path = tmp_path / "club.toml"
    path.write_text('name = "x"\nedition = "y"\nsource = "z"\ncontrol_s = "three"\n')
    with pytest.raises(MatlineError, match=r"club\.toml"):
        library.update_bout(bout(library), ruleset=str(path))


def test_a_name_that_was_taken_once_is_never_scored_silently():
    rules = usual_or("house rules")
    assert "no rules “house rules”" in rules.name
    assert rules.awards == RuleSet.load("international_federation").awards


def test_bouts_of_different_athletes_are_not_one_fight(library):
    first = bout(library, names={"A": "Kim", "B": "Noor"})
    second = bout(library, names={"A": "Ada", "B": "Noor"})
    with pytest.raises(MatlineError, match="not one fight"):
        library.link(first, second, 1.0)
    assert library.cameras(first) == {}


def test_cameras_may_call_the_athletes_the_other_way_round_or_not_at_all(library):
    first = bout(library, names={"A": "Kim", "B": "Noor"})
    library.link(first, bout(library, names={"A": "noor", "B": "Kim"}), 1.0)
    library.link(first, bout(library), 2.0)
    assert len(library.cameras(first)) == 2


def test_clips_are_asked_for_in_the_words_of_the_page():
    wanted = Wanted(("guard pass", "Sweep attempt"), ("side control", "North–South"))
    assert wanted.kinds == ("guard_pass", "sweep_attempt")
    assert wanted.positions == ("side_control", "north_south")
    with pytest.raises(MatlineError, match="did you mean half_guard"):
        Wanted(positions=("halfguard",))
