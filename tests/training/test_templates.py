"""That every position is written, and that what is written solves and looks like itself."""

from pathlib import Path

import numpy as np
import pytest

from models.training.scenes.contacts import Template
from models.training.scenes.templates import lasting, template, templates
from pipeline.bodies.look import COCO_KEYPOINTS
from pipeline.errors import MatlineError
from pipeline.timeline.vocabulary import BY_KEY, POSITION_KEYS

HIPS = [COCO_KEYPOINTS.index("left_hip"), COCO_KEYPOINTS.index("right_hip")]
SHOULDERS = [COCO_KEYPOINTS.index("left_shoulder"), COCO_KEYPOINTS.index("right_shoulder")]
NOSE = COCO_KEYPOINTS.index("nose")


def test_every_position_has_templates_and_the_ground_ones_several():
    counts = {key: 0 for key in POSITION_KEYS}
    for t in templates().values():
        counts[t.position] += 1
    assert all(n >= 2 for n in counts.values()), counts
    assert sum(counts.values()) >= 30


def test_every_template_says_what_it_shows_and_who_is_on_top():
    for t in templates().values():
        assert len(t.about.split()) >= 6, t.name
        assert (t.top == "A") == BY_KEY[t.position].has_top
        assert len(t.contacts) >= 6, t.name


def test_bouts_leave_out_throws_but_lack_no_position():
    thrown = {name for name, t in templates().items() if t.still}
    assert "hip throw" in thrown
    assert not thrown & set(lasting())
    assert lasting({"hip throw": "takedown", "sprawl": "takedown"}) == {"sprawl": "takedown"}
    assert set(lasting().values()) == {t.position for t in templates().values()}


def test_an_unknown_name_lists_the_known_ones():
    with pytest.raises(MatlineError, match="mount, low"):
        template("upside down")


def test_the_page_shows_every_template_as_it_is_written():
    page = (Path(__file__).parents[2] / "docs" / "scenes.md").read_text(encoding="utf-8")
    for t in templates().values():
        assert f"### {t.name}\n" in page
        assert t.text.split("\n\n", 1)[1].strip() in page, t.name


@pytest.fixture(scope="module")
def solved(people):
    """One batch over positions whose geometry can be said in a sentence."""
    pytest.importorskip("torch", reason="the solver runs on PyTorch: pip install .[training]")
    from models.training.scenes.solver import solve_all

    names = ["mount, posture", "side control, cross face", "back control, seated",
             "closed guard, posture", "north–south, on the knees", "turtle, attacker behind",
             "standing, collar tie"]  # fmt: skip
    wanted: list[Template] = [template(n) for n in names for _ in range(3)]
    found: dict[str, list] = {}
    for s in solve_all(wanted, people, seed=2):
        points = [people[b.person].keypoints(people[b.person].vertices(b)) for b in s.pair.bodies]
        found.setdefault(s.pair.template, []).append((s, *points))
    return found


def axis(points):
    """Pelvis to shoulders, unit."""
    along = points[SHOULDERS].mean(0) - points[HIPS].mean(0)
    return along / np.linalg.norm(along)


def test_most_pairs_of_settled_positions_are_plausible(solved):
    accepted = [s.quality.accepted for pairs in solved.values() for s, _, _ in pairs]
    assert np.mean(accepted) > 0.6
    assert max(s.quality.contact for pairs in solved.values() for s, _, _ in pairs) < 0.05


def test_mount_sits_over_the_trunk_of_one_who_lies_flat(solved):
    """Common practice, no source."""
    for _, a, b in solved["mount, posture"]:
        assert a[HIPS, 2].mean() > b[HIPS, 2].mean() + 0.08
        assert abs(axis(b)[2]) < 0.35
        assert axis(a)[2] > 0.7
        assert axis(b) @ (a[HIPS].mean(0) - b[HIPS].mean(0)) > 0.05


def test_side_control_lies_across(solved):
    for _, a, b in solved["side control, cross face"]:
        assert abs(axis(a) @ axis(b)) < 0.5
        assert a[SHOULDERS, 2].mean() > b[SHOULDERS, 2].mean()


def test_back_control_faces_the_same_way_from_behind(solved):
    for _, a, b in solved["back control, seated"]:
        face_b = b[NOSE] - b[SHOULDERS].mean(0)
        assert (a[SHOULDERS].mean(0) - b[SHOULDERS].mean(0)) @ face_b < 0
        left_a, left_b = (p[SHOULDERS[0]] - p[SHOULDERS[1]] for p in (a, b))
        assert left_a @ left_b > 0


def test_closed_guard_has_the_shins_crossed_behind_the_back(solved):
    ankles = [COCO_KEYPOINTS.index("left_ankle"), COCO_KEYPOINTS.index("right_ankle")]
    for _, a, b in solved["closed guard, posture"]:
        assert np.linalg.norm(b[ankles[0]] - b[ankles[1]]) < 0.3
        assert axis(b) @ (b[ankles].mean(0) - a[HIPS].mean(0)) < 0


def test_north_south_is_head_to_hips(solved):
    for _, a, b in solved["north–south, on the knees"]:
        assert axis(a) @ axis(b) < -0.7


def test_turtle_has_the_face_down_and_the_other_behind(solved):
    for _, a, b in solved["turtle, attacker behind"]:
        assert b[NOSE, 2] < 0.35
        assert axis(b) @ (a[HIPS].mean(0) - b[HIPS].mean(0)) < 0


def test_standing_is_on_the_feet(solved):
    for _, a, b in solved["standing, collar tie"]:
        for points in (a, b):
            assert points[HIPS, 2].mean() > 0.42 * (points[:, 2].max())
