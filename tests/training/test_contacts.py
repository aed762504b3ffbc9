import pytest

from models.training.scenes.contacts import parse, parse_statement
from models.training.scenes.spots import Spot, spots
from pipeline.errors import MatlineError

STARTS = """
B starts supine, head north, at 0 0 12; hip_flex 90, left knee 40..60
A starts kneeling, facing north, leaning 5..20, at 0 -32 42
"""


def written(body, position="closed_guard", top="A"):
    return f"# a guard\nposition: {position}\ntop: {top}\nabout: Legs.\n{STARTS}\n{body}\n"


def test_a_plural_pairs_same_sides_and_opposite_crosses_over():
    left, right = parse_statement("A hands to B opposite collars within 2")
    assert left.first == Spot(0, "palm.L")
    assert left.second.sphere == "trunk.6.R"
    assert right.first == Spot(0, "palm.R")
    assert right.second.sphere == "trunk.6.L"
    assert left.value == (2.0, 2.0)


def test_each_of_a_plural_can_touch_one_place():
    both = parse_statement("A hands to B stomach within 3..6, loosely")
    assert [c.first.sphere for c in both] == ["palm.L", "palm.R"]
    assert all(c.second.sphere == "trunk.3.M" and c.value == (3, 6) for c in both)
    assert all(c.weight < 1 for c in both)


def test_what_rests_on_the_mat_is_listed_once_per_athlete():
    contacts = parse_statement("A knees, left toes on mat")
    assert [c.first.sphere for c in contacts] == ["shank.L.0", "shank.R.0", "toe.L"]
    assert {c.kind for c in contacts} == {"mat"}


def test_above_is_below_seen_from_the_other_side():
    (above,) = parse_statement("A chin above B left knee by 5")
    (below,) = parse_statement("B left knee below A chin by 5")
    assert above == below


def test_inner_and_outer_depend_on_the_side():
    (left,), (right,) = spots("A inner left knee"), spots("A inner right knee")
    assert left.direction == (-1, 0, 0)
    assert right.direction == (1, 0, 0)


def test_directions_follow_the_compass():
    (contact,) = parse_statement("A trunk points up and 0.5 north")
    assert contact.direction == pytest.approx((0, 0.4472, 0.8944), abs=1e-3)


def test_a_template_keeps_ranges_and_alternatives():
    (template,) = parse(
        written("B waist on mat\none of:\n  - A hands on mat; A elbows on mat\n  - nothing")
    )
    a, b = template.starts
    assert (template.position, template.top) == ("closed_guard", "A")
    assert b.joints["knee.L"] == (40, 60)
    assert b.joints["knee.R"] == (80, 80)
    assert (a.yaw, a.pitch) == ((180, 180), (5, 20))
    assert b.pitch == (-90, -90)
    assert [len(x) for x in template.choices[0]] == [4, 0]


@pytest.mark.parametrize(
    ("body", "said"),
    [
        ("A wing on mat", "'A wing' is no place"),
        ("A hands tickle B ribs", "no statement"),
        ("A trunk points sideways", "'sideways' is no direction"),
        ("A hands to B chest within soft", "'soft' is no number"),
        ("A left hand to B knees", "is one place but"),
        ("A starts flying, at 0 0 0", "'flying' is no stance"),
        ("A starts kneeling, at 0 0 0; tail 3", "'tail' is no joint"),
    ],
)
def test_an_error_names_the_file_the_template_and_the_words(body, said):
    with pytest.raises(MatlineError, match=r"guards\.txt, template 'a guard'") as caught:
        parse(written(body), "guards.txt")
    assert said in str(caught.value)


def test_a_position_outside_the_vocabulary_is_refused():
    with pytest.raises(MatlineError, match="not in the vocabulary"):
        parse(written("B waist on mat", position="rubber guard"))
    with pytest.raises(MatlineError, match="top: none"):
        parse(written("B waist on mat", position="standing"))


def test_what_is_for_pictures_only_says_so_in_one_way():
    thrown = written("B waist on mat").replace("top: A", "top: A\nstill: yes")
    assert [t.still for t in parse(thrown) + parse(written("B waist on mat"))] == [True, False]
    with pytest.raises(MatlineError, match="write 'still: yes' or nothing"):
        parse(thrown.replace("still: yes", "still: no"))
