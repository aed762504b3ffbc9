"""A fight that two cameras saw would count twice in every figure."""

from pipeline.outputs.study import Selection, select
from pipeline.timeline import Correction, Segment, Timeline
from tests.study.conftest import BY_HAND, put
from tests.study.test_commands import matline as matline

PROPOSED = Timeline((Segment(10, 50, "standing"), Segment(50, 90, "mount", "A")))


def titles(found):
    return [one.bout.title for one in found]


def test_a_fight_is_counted_once_by_its_most_corrected_timeline(library):
    near = put(library, PROPOSED, title="near", names={"A": "Kim", "B": "Noor"})
    far = put(library, PROPOSED, title="far", names={"A": "Kim", "B": "Noor"})
    put(library, BY_HAND, title="another fight")
    library.link(near.id, far.id, 3.0)
    assert titles(select(library)) == ["near", "another fight"]
    library.append(far.id, Correction("accept", {"segment": PROPOSED.segments[0].id}))
    assert titles(select(library)) == ["far", "another fight"]
    assert titles(select(library, Selection(bouts=("near",)))) == ["near"]  # asked for by name


def test_linking_and_unlinking_as_typed(library, matline):
    put(library, BY_HAND, title="near")
    put(library, BY_HAND, title="far")
    code, out, _ = matline("link", "near", "far", "--offset", "-2.5")
    assert code == 0
    assert out == "near at 0 s is far at -2.5 s.\n"
    assert len(select(library)) == 1
    assert matline("link", "near", "nowhere")[0] == 1
    assert matline("unlink", "far")[0] == 0
    assert len(select(library)) == 2
