"""Leaving families out only says something if nothing of a family stays behind."""

from __future__ import annotations

from collections import Counter

import pytest

from models.training.scenes.families import FOLDS, family_of, fold_of, kept, left_out
from models.training.scenes.templates import templates


def test_a_composed_template_is_left_out_with_the_written_one_whose_legs_it_has():
    name = "half guard, flat"
    fold = fold_of(name, "half_guard")
    composed = f"{name} / on the knees, crossface"
    assert family_of(composed) == name
    assert kept([name, composed], fold) == []
    assert kept([name, composed], (fold + 1) % FOLDS) == [name, composed]


def test_every_family_is_left_out_once():
    everything = [family for fold in range(FOLDS) for family in left_out(fold)]
    assert sorted(everything) == sorted({family_of(name) for name in templates()})


@pytest.mark.parametrize("fold", range(FOLDS))
def test_a_position_of_several_families_is_learned_from_and_judged_in_every_fold_of_its_size(fold):
    families = Counter(t.position for t in templates().values())
    gone = Counter(
        t.position for name, t in templates().items() if family_of(name) in left_out(fold)
    )
    for position, count in families.items():
        assert gone[position] <= -(-count // FOLDS)
        if count >= FOLDS:
            assert gone[position]
