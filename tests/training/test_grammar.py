"""Plans of bouts: what the position model would learn wrongly if they made no sense."""

import itertools

import numpy as np
import pytest

from models.training.scenes.grammar import plan_bout
from pipeline.positions.states import joint
from pipeline.positions.tables import durations, transitions
from pipeline.timeline import BY_KEY

TEMPLATES = {f"{key} {n}": key for key in BY_KEY if key not in ("unknown",) for n in (1, 2)}
SOME = {"feet": "standing", "closed": "closed_guard", "mounted": "mount", "knees": "turtle"}


def total(plan):
    return sum(hold.entry_s + hold.hold_s for hold in plan)


@pytest.mark.parametrize("seed", range(20))
def test_a_plan_has_the_length_asked_for_and_only_known_templates(seed):
    plan = plan_bout(np.random.default_rng(seed), SOME, 45.0)
    assert total(plan) == pytest.approx(45, abs=3)
    assert {hold.template for hold in plan} <= set(SOME)
    assert plan[0].entry_s == 0
    assert all(hold.hold_s >= 0 and 0 < hold.reach <= 1 for hold in plan)


def test_the_same_seed_gives_the_same_bout():
    plans = [plan_bout(np.random.default_rng(7), TEMPLATES, 60.0) for _ in range(2)]
    assert plans[0] == plans[1]


def test_labels_say_who_is_on_top_exactly_where_somebody_is():
    for seed in range(10):
        for hold in plan_bout(np.random.default_rng(seed), TEMPLATES, 60.0):
            assert (hold.top is not None) == BY_KEY[hold.position].has_top, hold


def test_every_position_occurs_and_most_steps_are_listed_transitions():
    listed = {(row["from"], row["to"]) for row in transitions().to_dict("records")}
    steps, seen = [], set()
    for seed in range(60):
        plan = plan_bout(np.random.default_rng(seed), TEMPLATES, 60.0)
        seen |= {hold.position for hold in plan}
        for before, after in itertools.pairwise(plan):
            if joint(before.position, before.top) != joint(after.position, after.top):
                steps.append((before.position, after.position) in listed)
    assert seen == set(durations().index) - {"unknown"}
    assert np.mean(steps) > 0.85


def test_what_is_not_reached_keeps_its_label_or_is_a_scramble():
    for seed in range(10):
        plan = plan_bout(np.random.default_rng(seed), SOME, 60.0)
        for before, hold in itertools.pairwise(plan):
            if hold.reach < 1 and hold.position != "scramble":
                assert (hold.position, hold.top) == (before.position, before.top)
