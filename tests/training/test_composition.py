"""That positions put together from parts say what they should, whoever draws them."""

import re

import numpy as np
import pytest

pytest.importorskip("torch", reason="compositions are solved on PyTorch: .[training]")

from models.training.scenes.compose_many import looked_at
from models.training.scenes.composition import compose, composed, read_recipes, recipes
from models.training.scenes.composition.mixing import mixed
from models.training.scenes.families import family_of, kept
from models.training.scenes.judged_pairs import renamed
from models.training.scenes.pose import PosedPair
from models.training.scenes.solver import SolverSettings, candidates
from models.training.scenes.templates import templates
from pipeline.errors import MatlineError
from pipeline.timeline.vocabulary import POSITION_KEYS

SMALL = """# half guard
position: half_guard

base:
- flat; gives flat
  B starts supine, head north, at 0 0 12; knee 80, hip_flex 60
  A starts kneeling, facing north, leaning 10, at 0 -30 42
  B lower back on mat; A knees on mat
- up; often 0
  B starts seated, facing south, at 0 0 12
legs:
- hook; needs flat; family half guard, flat
  B moves 5 0 0; B moves 0 5 0; B leans 5; B bends left knee 110
  B right ankle to B left ankle
- never; not flat
  B left heel to A left heel
B left hand from under:
A hands from both:
A right hand from under:

# pool under
- hook
  X this hand to Y near lat within 9; X this elbow below Y far elbow by 2
# pool both
- two
  X hands to Y chest
"""


@pytest.fixture(scope="module")
def drawn():
    return composed(600, seed=3)


def small(text=SMALL, seed=0):
    recipe = read_recipes({"small": text})[0]
    return compose(recipe, np.random.default_rng(seed))


def test_parts_that_do_not_go_together_are_never_drawn_together():
    statements = small().text
    assert "B right ankle to B left ankle" in statements
    assert "heel" not in statements  # ruled out by what was drawn before
    assert "seated" not in statements


def test_a_hand_from_the_pool_meets_the_side_that_it_faces():
    assert "B left hand to A right lat within 9" in small().text
    assert "B left elbow below A left elbow by 2" in small().text


def test_a_hand_is_not_asked_for_twice():
    assert "A hands to B chest" in small().text
    assert "A right hand" not in small().text


def test_what_parts_say_of_a_start_adds_up():
    start = small().starts[1]
    middle = [sum(axis) / 2 for axis in start.at]
    assert middle == pytest.approx([5, 5, 12], abs=0.6)
    assert sum(start.pitch) / 2 == pytest.approx(-90 + 5, abs=0.6)
    assert start.joints["knee.L"] == (110, 110)
    assert start.joints["knee.R"] == (80, 80)


@pytest.mark.parametrize(
    ("wrong", "named"),
    [
        ("- hook; needs", "- hook; wants"),
        ("from under:", "from nowhere:"),
        ("position: half_guard", "about: nothing"),
        ("B right ankle to B left ankle", "B right ankle touches B left ankle"),
    ],
)
def test_a_slip_in_the_parts_is_named(wrong, named):
    with pytest.raises(MatlineError, match=re.escape(named.split()[-1].rstrip(":"))):
        small(SMALL.replace(wrong, named))


def test_the_same_seed_gives_the_same_compositions(drawn):
    assert [t.text for t in composed(40, seed=3)] == [t.text for t in drawn[:40]]
    assert [t.text for t in composed(40, seed=4)] != [t.text for t in drawn[:40]]


def test_every_part_of_every_recipe_can_be_read():
    rng = np.random.default_rng(0)
    for recipe in recipes():
        for _ in range(60):
            assert compose(recipe, rng).position == recipe.position


def test_nearly_every_draw_is_another_composition_and_half_guard_is_the_widest(drawn):
    assert len({t.name for t in drawn}) > 0.9 * len(drawn)
    counts = {key: sum(t.position == key for t in drawn) for key in POSITION_KEYS}
    assert counts["half_guard"] + counts["open_guard"] + counts["closed_guard"] > 0.4 * len(drawn)


def test_a_family_that_is_left_out_takes_its_compositions_and_mixtures_along(drawn):
    families = {family_of(t.name) for t in drawn}
    assert len(families & set(templates())) > 45  # so many of the written ones are composed
    fold = next(f for f in range(5) if "half guard, flat" not in kept(["half guard, flat"], f))
    names = [
        "half guard, flat / on the right hip",
        "in between / half guard, deep / half guard, flat / on the right hip",
        "judged other / half guard, flat / on the right hip",
    ]
    assert kept(names, fold) == []
    assert kept(["half guard, invented / on the right hip"], fold)


def test_most_compositions_solve(people):
    some = composed(6, seed=1)
    found = candidates(some, people, settings=SolverSettings(steps=140))
    assert sum(c.contact < 0.03 for c in found) >= 4
    assert [c.pair.template for c in found] == [t.name for t in some]


def test_a_pose_in_between_begins_where_it_is_told_and_keeps_what_rests_on_the_mat(people, drawn):
    start = candidates(drawn[:1], people, settings=SolverSettings(steps=1))[0].pair
    m = mixed(drawn[1:2], [start], np.random.default_rng(0))[0]
    assert m.template.name == f"in between / {family_of(start.template)} / {drawn[1].name}"
    on_mat = [c for c in drawn[1].contacts if c.kind == "mat"]
    assert [c for c in m.template.contacts if c.kind == "mat"] == on_mat
    assert len(m.template.contacts) < len(drawn[1].contacts)
    calm = SolverSettings(steps=0, turn_noise=0, place_noise=0)
    begun = candidates([m.template], people, settings=calm, starts=[m.start])[0].pair
    for body, told in zip(begun.bodies, start.bodies, strict=True):
        np.testing.assert_allclose(body.translation, told.translation, atol=1e-6)
        np.testing.assert_allclose(body.joints, told.joints, atol=0.021)


def test_only_pairs_judged_to_be_as_meant_are_kept_and_the_judge_names_those_in_between(drawn):
    pair = PosedPair(drawn[0].name, "half_guard", "A", (None, None))
    assert renamed(pair, "half_guard", "A") == pair
    assert renamed(pair, None, None, others=True) is None
    assert renamed(pair, "half_guard", "B") is None
    other = renamed(pair, "mount", "B", others=True)
    assert (other.position, other.top) == ("mount", "A")  # exchanged, so that A is on top
    assert other.template == f"judged other / {pair.template}"
    scramble = PosedPair("scramble / on one knee", "scramble", None, (None, None))
    assert renamed(scramble, None, None) == scramble
    assert renamed(scramble, "turtle", "A") is None
    between = PosedPair(
        "in between / crucifix / half guard, flat / flat", "", None, ("first", "second")
    )
    named = renamed(between, "half_guard", "B")
    assert (named.template, named.position, named.top) == (between.template, "half_guard", "A")
    assert named.bodies == ("second", "first")


def test_what_no_judge_would_name_is_not_kept(people, drawn):
    some = candidates(drawn[:2], people, settings=SolverSettings(steps=1))
    some = [c.__class__(c.pair, 0.0, 0.0, False) for c in some]
    found = looked_at(some, people, lambda pairs: [None for _ in pairs])
    assert found.kept == []
    assert found.became["unnamed"] == 2
