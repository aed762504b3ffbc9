"""Nothing learnt may make the reader worse, be lost, or be learnt from what nobody vouched for."""

import json
import sys
from dataclasses import replace

import pytest

from pipeline.errors import MatlineError
from pipeline.learning import SHIPPED, Figures, Versions, learn, seen_bouts
from pipeline.learning import learn as learn_function
from pipeline.settings import LearningSettings
from pipeline.timeline import State, Timeline
from tests.learning.conftest import put, true_timeline

SETTINGS = LearningSettings(folds=2, passes=(6,), rate=1e-3)


@pytest.fixture
def corrected(library):
    """Five bouts of another camera, all accepted."""
    for seed in range(30, 35):
        put(library, seed, shift=6.0)
    return library


def test_learning_makes_a_version_that_is_in_use_and_better(corrected, start):
    outcome = learn(corrected, SETTINGS, start=start)
    assert outcome.version is not None
    assert outcome.after.macro_f1 > outcome.before.macro_f1
    versions = Versions(corrected)
    assert versions.current == 1
    assert versions.model().version == "drawn; 4 corrected bouts, 6 passes"
    assert versions.all() == [outcome.version]


def test_the_bouts_judged_by_are_never_learnt_from(corrected, start):
    first = learn(corrected, SETTINGS, start=start)
    put(corrected, 40, shift=6.0)
    second = learn(corrected, SETTINGS, start=start)
    assert second.apart == first.apart
    assert not set(second.learnt_from) & set(second.apart)


def test_proposals_are_not_learnt_from(library):
    mixed = true_timeline(30).segments
    mixed = tuple(replace(s, state=State.PROPOSED) if i % 2 else s for i, s in enumerate(mixed))
    put(library, 30, timeline=Timeline(mixed))
    put(library, 31, state=State.PROPOSED)
    bouts = seen_bouts(library)
    assert [b.title for b in bouts] == ["bout 30"]
    assert len(bouts[0].timeline.segments) == 4
    assert bouts[0].whole == 0.5


def test_what_is_worse_on_bouts_kept_apart_is_not_put_in_use(corrected, start, monkeypatch):
    worse = Figures(0.1, 10.0, 0.1, 48.0, 1)
    real = sys.modules["pipeline.learning.learn"].judge
    monkeypatch.setattr(
        sys.modules["pipeline.learning.learn"],
        "judge",
        lambda model, bouts: worse if "passes" in model.version else real(model, bouts),
    )
    outcome = learn(corrected, SETTINGS, start=start)
    assert outcome.version is None
    assert Versions(corrected).current == SHIPPED


@pytest.mark.parametrize(("macro_f1", "edit"), [(0.79, 99.0), (0.99, 89.0)])
def test_either_figure_falling_is_worse(macro_f1, edit):
    before = Figures(0.8, 90.0, 0.9, 48.0, 1)
    assert Figures(macro_f1, edit, 0.99, 48.0, 1).falls_below(before)
    assert not before.falls_below(before)


def test_one_command_back_and_nothing_is_deleted(corrected, start):
    learn(corrected, SETTINGS, start=start)
    versions = Versions(corrected)
    kept = versions.path(1)
    assert versions.back() == SHIPPED
    assert versions.current == SHIPPED
    assert kept.exists()
    with pytest.raises(MatlineError, match="none before"):
        versions.back()
    assert learn(corrected, SETTINGS, start=start).version.number == 2


def test_too_few_bouts_say_how_many_more(library, start):
    for seed in (30, 31):
        put(library, seed)
    with pytest.raises(MatlineError, match="1 more"):
        learn(library, SETTINGS, start=start)
    assert Versions(library).apart == []


def test_a_bout_half_seen_can_not_be_judged_by(corrected, start):
    half = tuple(
        replace(s, state=State.PROPOSED) if i % 2 else s
        for i, s in enumerate(true_timeline(50).segments)
    )
    bout = put(corrected, 50, timeline=Timeline(half))
    with pytest.raises(MatlineError, match="95%"):
        learn_function(corrected, SETTINGS, keep_apart=[bout], start=start)


@pytest.mark.parametrize("text", ["", "[]", '{"current": 9, "apart": [], "versions": []}'])
def test_a_damaged_list_of_versions_is_one_sentence(corrected, start, text):
    learn(corrected, SETTINGS, start=start)
    (corrected.root / "models" / "versions.json").write_text(text)
    with pytest.raises(MatlineError, match=r"versions\.json"):
        Versions(corrected).model()


def test_the_list_of_versions_is_plain_json(corrected, start):
    learn(corrected, SETTINGS, start=start)
    data = json.loads((corrected.root / "models" / "versions.json").read_text())
    assert data["current"] == 1
    assert len(data["apart"]) == 1


def test_reading_uses_what_was_learnt_until_it_is_taken_back(corrected, start):
    from pipeline.cli.reading import _settings

    assert _settings(None, corrected).positions.model == ""
    learn(corrected, SETTINGS, start=start)
    assert _settings(None, corrected).positions.model.endswith("positions-001.skops")
    Versions(corrected).back()
    assert _settings(None, corrected).positions.model == ""


def test_a_reading_is_out_of_date_once_the_model_is_another(corrected, start, tmp_path):
    from pipeline.overnight.reading import settings_hash
    from pipeline.settings import PositionsSettings, Settings

    class Reader:
        name = "drawn"

    learn(corrected, SETTINGS, start=start)
    learnt = Versions(corrected).path()
    moved = tmp_path / "moved.skops"
    moved.write_bytes(learnt.read_bytes())
    hashes = [
        settings_hash(Reader(), Settings(positions=PositionsSettings(model=str(path))))
        for path in ("", learnt, moved)
    ]
    assert hashes[0] != hashes[1] == hashes[2]
