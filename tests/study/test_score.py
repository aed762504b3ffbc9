"""Points must be those of the rules the bout was fought under, on the right side of the score."""

from pipeline.outputs.study import Study, StudyBout
from pipeline.outputs.study.score import points, running_score
from pipeline.timeline import Timeline
from tests.study.conftest import BY_HAND, segment


def test_points_are_the_published_ones_for_own_and_opponent(bout):
    # International federation: takedown 2, sweep 2, mount 4 (docs/points.md names the texts).
    table = points([bout])
    assert [(r.kind, r.by, r.points) for r in table.itertuples()] == [
        ("takedown", "opponent", 2),
        ("sweep", "own", 2),
        ("mount_taken", "own", 4),
    ]
    assert list(table["clock_s"]) == [33, 93, 123]  # reached, and held for three seconds


def test_the_score_only_grows_and_ends_at_the_total(bout):
    score = running_score(points([bout]), bout.bout.id, 190.0)
    assert score["own"].tolist() == [0, 0, 2, 6, 6]
    assert score["opponent"].tolist() == [0, 2, 2, 2, 2]
    assert score["clock_s"].tolist() == [0, 33, 93, 123, 190]


def test_seen_by_the_opponent_the_score_is_turned(bout):
    theirs = Study.of([StudyBout.of(bout.bout, "B", BY_HAND)]).bout_table().iloc[0]
    ours = Study.of([bout]).bout_table().iloc[0]
    assert (ours["own_points"], ours["opponent_points"]) == (6, 2)
    assert (theirs["own_points"], theirs["opponent_points"]) == (2, 6)


def test_a_bout_without_points_has_a_score_of_nothing(bout):
    quiet = StudyBout.of(bout.bout, "A", Timeline((segment(10, 60, "standing"),)))
    study = Study.of([quiet])
    assert study.points.empty
    assert running_score(study.points, bout.bout.id, 50.0)["own"].tolist() == [0, 0]
