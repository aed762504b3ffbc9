"""Figures on families left out say nothing if a family is learned from and judged on."""

from __future__ import annotations

import json
import warnings
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from sklearn.base import clone
from sklearn.exceptions import ConvergenceWarning
from sklearn.neural_network import MLPClassifier

pytest.importorskip("torch", reason="pairs are solved with PyTorch: pip install .[training]")

from models.training.positions.data import Samples
from models.training.positions.families import fitting, stills
from models.training.positions.families.making import Source, chosen, mixed
from models.training.positions.families.run import Condition, _made_of
from models.training.positions.families.tables import markdown, still_figures
from models.training.positions.train import Recipe, fit
from models.training.scenes.families import FOLDS, deal, family_of, left_out
from models.training.scenes.joints import JOINT_NAMES
from models.training.scenes.pairs_file import Pairs
from models.training.scenes.templates import templates
from pipeline.errors import MatlineError
from pipeline.positions import STATES, PositionModel
from pipeline.positions.model import inputs, model_columns

WRITTEN = {name: template.position for name, template in templates().items()}
COMPOSED = {f"{name} / arms {n}": where for name, where in WRITTEN.items() for n in range(5)}


@pytest.mark.parametrize("fold", range(FOLDS))
def test_nothing_is_learned_from_that_is_judged_on(fold):
    known = WRITTEN | COMPOSED | {"drawn from parts": "half_guard"}
    learned = {family_of(name) for name in chosen(known, fold, unseen=False)}
    judged = chosen(known, fold, unseen=True)
    assert not learned & left_out(fold)
    assert set(judged) <= left_out(fold), "composed templates are not judged on"
    assert "drawn from parts" in learned


def test_folds_stay_when_a_family_is_written_later():
    before = deal({f"guard {n}": "open_guard" for n in range(1, 9)})
    settled = {family: fold for (_, family), fold in before.items()}
    after = deal({f"guard {n}": "open_guard" for n in range(12)}, settled=settled)
    assert all(after[key] == fold for key, fold in before.items())
    counts = np.bincount([fold for fold in after.values()], minlength=FOLDS)
    assert counts.max() - counts.min() <= 1


def test_a_bout_shows_written_poses_however_many_were_composed():
    known = chosen(WRITTEN | COMPOSED, 0, unseen=False)
    drawn = mixed(known, np.random.default_rng(0))
    written = [name for name in drawn if name in WRITTEN]
    assert set(written) == {name for name in known if name in WRITTEN}
    assert len(written) == len(drawn) - len(written)


@pytest.fixture
def samples():
    """Three states that a few inputs tell apart, some of them unseen, on two scales."""
    rng = np.random.default_rng(0)
    y = rng.choice(["mount/A", "mount/B", "standing"], 1000)
    x = rng.normal(size=(1000, 12)).astype(np.float32)
    x[:, 3] += 2 * (y == "mount/A") - 2 * (y == "mount/B")
    x[:, 7] = np.exp(x[:, 7] + 2 * (y == "standing"))
    x[rng.random(x.shape) < 0.1] = np.nan
    return Samples(x, y, np.repeat(np.arange(20), 50).astype(str))


def test_fitting_with_pytorch_gives_what_scikit_learn_gives(samples):
    pytest.importorskip("torch")
    x, y = np.nan_to_num(samples.x), samples.y
    # In one batch, so that the order of rows, which both draw, doesn't count.
    plain = MLPClassifier((24, 12), batch_size=len(x), max_iter=15, alpha=0.3, random_state=4)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ConvergenceWarning)
        slow = clone(plain).fit(x, y)
    fast = clone(plain)
    fitting.draw_weights(fast, x, y)
    assert np.abs(fast.predict_proba(x) - slow.predict_proba(x)).max() > 0.1
    fitting.fit_network(fast, x, np.searchsorted(slow.classes_, y), epochs=15)
    np.testing.assert_allclose(fast.predict_proba(x), slow.predict_proba(x), atol=1e-3)


def test_a_model_fitted_with_pytorch_is_the_same_after_it_was_kept(samples, tmp_path):
    pytest.importorskip("torch")
    recipe = Recipe(layers=(8,), epochs=1)
    model = fit(samples, recipe, lambda text: None, fitting.NetworkFitter())
    model.save(tmp_path / "model.skops")
    again = PositionModel.load(tmp_path / "model.skops")
    some = samples.x[:50]
    np.testing.assert_array_equal(
        again.classifier.predict_proba(some), model.classifier.predict_proba(some)
    )
    assert again.states == ("mount/A", "mount/B", "standing")


def test_a_still_is_not_seen_in_the_context_of_the_next():
    rng = np.random.default_rng(0)
    grids = [
        pd.DataFrame(rng.normal(size=(count, len(model_columns()))), columns=model_columns())
        for count in (16, 15, 16)
    ]
    alone = [inputs(grid).to_numpy(np.float32) for grid in grids]
    for one, among in zip(alone, stills.in_context(grids), strict=True):
        np.testing.assert_allclose(one, among, atol=1e-5)


def test_figures_of_stills_count_views_positions_and_who_is_on_top():
    true = np.array(["mount/A", "mount/B", "half_guard/A", "standing"])
    said = ["mount/A", "mount/A", "mount/A", "standing"]
    told = np.array([[float(state == one) for state in STATES] for one in said])
    found = still_figures(true, told)
    assert (found["accuracy"], found["views"]) == (0.75, 4)
    assert found["recall"] == {"half_guard": 0.0, "mount": 1.0, "standing": 1.0}
    assert found["top"] == pytest.approx(2 / 3, abs=1e-4)
    text = markdown([{"name": "written", "figures": {"stills": found}}])
    assert "| half_guard | 0.00 |" in text


def test_figures_of_other_material_are_not_mixed_into_a_folder(tmp_path: Path):
    for name in ("cast", "pairs", "other"):
        (tmp_path / name).write_text(name)

    def condition(pairs: str) -> Condition:
        cast = tmp_path / "cast"
        source = Source(cast, (tmp_path / pairs,))
        return Condition("written", source, Source(cast, (tmp_path / "pairs",)), tmp_path / "out")

    _made_of(condition("pairs"))
    _made_of(condition("pairs"))
    with pytest.raises(MatlineError, match="made of other files"):
        _made_of(condition("other"))
    with pytest.raises(MatlineError, match="no file"):
        _made_of(condition("missing"))
    assert json.loads((tmp_path / "out" / "test" / "made_of.json").read_text())["bouts"] == 20


def test_stills_show_the_pairs_alive_and_those_without_a_name_are_not_learned_from(people):
    rng = np.random.default_rng(0)
    shapes = {"joints": (len(JOINT_NAMES),), "rotation": (3, 3), "translation": (3,)}
    arrays = {name: np.zeros((3, 2, *shape), np.float32) for name, shape in shapes.items()}
    arrays["rotation"] += np.eye(3, dtype=np.float32)
    arrays["translation"] += np.array([[[0, 0, 1], [0.6, 0, 1]]], np.float32)
    pairs = Pairs(
        arrays
        | {
            "templates": np.array(["apart, both on their feet"]),
            "positions": np.array(["", "mount"]),
            "template": np.zeros(3, int),
            "position": np.array([1, 0, 1]),
            "top": np.array([1, 0, 2]),
            "person": np.array([[0, 1], [2, 3], [1, 0]]),
            "mirrored": np.zeros(3, bool),
            "quality": np.zeros((3, 4)),
        }
    )
    world = stills.held(pairs, np.arange(3), people, rng)
    np.testing.assert_allclose(world[0, :, 0], world[2, :, 1] - [0.6, 0, 0], atol=0.5)
    moved = np.linalg.norm(world - world[:, :1], axis=-1).max(axis=1)
    assert 0.005 < np.median(moved) < 0.2
    states = stills.template_states(pairs)
    assert states.tolist() == ["mount/A", "", "mount/B"]
    x, y, of = stills.draw(pairs, states, np.arange(3), people, (0,), keep=3)
    assert set(of.tolist()) == {0, 2}
    assert len(x) == len(y) == 6
    assert set(y.tolist()) <= {"mount/A", "mount/B"}
