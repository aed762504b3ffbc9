"""The truth of bouts: what evaluation would measure wrongly."""

import numpy as np
import pytest

pytest.importorskip("torch", reason="bouts are solved with PyTorch: pip install .[training]")

from models.training.positions.data import StoredBout, labels_at
from models.training.scenes.bouts import library_for, true_segments
from models.training.scenes.camera import Camera
from models.training.scenes.events import find_moments
from models.training.scenes.grammar import Hold
from models.training.scenes.pose import BodyPose, PosedPair
from models.training.scenes.views import ReaderErrors, View, view, visibility
from pipeline.timeline import Segment, Timeline


def test_a_plan_becomes_segments_with_borders_where_labels_switch():
    plan = [
        Hold("a", "A", "standing", None, 0.0, 2.0),
        Hold("b", "A", "mount", "A", 1.0, 3.0, switch=0.6),
        Hold("c", "B", "mount", "A", 0.5, 0.5, reach=0.4),
        Hold("d", "A", "turtle", "A", 1.0, 1.0, switch=0.5),
    ]
    segments = true_segments(plan)
    spans = [(s.start_s, s.end_s, s.position, s.top) for s in segments]
    # By hand: 2 + 0.6 × 1; 2 + 1 + 3 + 0.5 + 0.5 + 0.5 × 1; end of all.
    assert spans == [
        (0.0, pytest.approx(2.6), "standing", None),
        (pytest.approx(2.6), pytest.approx(7.5), "mount", "A"),
        (pytest.approx(7.5), pytest.approx(9.0), "turtle", "A"),
    ]


def body(person):
    return BodyPose(person, np.zeros(3), np.eye(3), np.zeros(3))


def test_a_library_serves_both_athletes_in_either_role_and_prefers_their_own_pairs():
    foreign = PosedPair("t", "mount", "A", (body(4), body(5)))
    own = PosedPair("t", "mount", "A", (body(1), body(0)))
    library = library_for([foreign, own], (0, 1))
    assert [p.top for p in library["t", "A"]] == ["A", "A"]  # nobody's own: both will do
    (swept,) = library["t", "B"]
    assert swept.top == "B"
    assert [b.person for b in swept.bodies] == [0, 1]


def test_only_who_is_underneath_rises():
    times = np.arange(0, 6, 0.1)
    keypoints = np.zeros((len(times), 2, 17, 3))
    keypoints[:, :, [5, 6], 0] = 0.5
    keypoints[:, :, [13, 14, 15, 16], 1] = [0.4, 0.4, 0.8, 0.8]
    keypoints[:, 1, [5, 6], 2] = (np.clip((times - 2) / 0.5, 0, 1) * 0.3)[:, None]
    under, over = (Segment(0, 6, "half_guard", top) for top in ("A", "B"))
    (moment,) = find_moments(times, keypoints, [under])
    assert (moment.kind, moment.athlete) == ("rise", "B")
    assert find_moments(times, keypoints, [over]) == ()


@pytest.mark.parametrize(("feet_m", "kinds"), [(0.3, ["lift"]), (0.05, [])])
def test_a_lift_is_true_only_if_nothing_of_who_is_carried_rests_on_the_mat(feet_m, kinds):
    times = np.arange(0, 6, 0.1)
    up = np.clip((times - 2) / 0.5, 0, 1)[:, None]
    keypoints = np.zeros((len(times), 2, 17, 3))
    keypoints[:, :, [5, 6], 0] = 0.5
    keypoints[:, 0, [5, 6], 2] = 0.4 + 0.3 * up
    keypoints[:, 0, [11, 12], 2] = 0.3 + 0.3 * up
    keypoints[:, 0, [13, 14], 2] = 0.1 + 0.25 * up
    keypoints[:, 0, [15, 16], 2] = 0.05 + (feet_m - 0.05) * up
    found = find_moments(times, keypoints, [Segment(0, 6, "half_guard", "A")])
    assert [(m.kind, m.athlete) for m in found] == [(kind, "B") for kind in kinds]


def test_what_is_behind_a_body_is_hidden():
    world = np.zeros((1, 2, 17, 3))
    world[0, 0, :] = [0, 0, 1]
    world[0, 1, :] = [0, 2, 1]
    spheres = np.array([[[[0, 1, 1, 0.2]], [[5, 5, 1, 0.2]]]], float)

    def seen_from(x, y):
        (first, second) = visibility(np.array([[x, y, 1.0]]), world, spheres)[0]
        assert len({*first}) == len({*second}) == 1
        return first[0], second[0]

    assert seen_from(0, 4) == (1, 2)
    assert seen_from(0, -4) == (2, 1)
    assert seen_from(4, 0) == (2, 2)


@pytest.fixture
def still_bout():
    rng = np.random.default_rng(0)
    times = np.arange(0, 4, 0.1)
    keypoints = np.tile(rng.uniform(0, 1, (1, 2, 17, 3)), (len(times), 1, 1, 1))
    spheres = np.tile(rng.uniform(0, 0.1, (1, 2, 5, 4)), (len(times), 1, 1, 1))
    truth = Timeline((Segment(0, 2, "standing"), Segment(2, 4, "mount", "B")))
    return StoredBout("still", (0, 1), times, keypoints, spheres, truth)


def test_an_exact_view_is_the_cameras_projection_and_noise_is_as_large_as_said(still_bout):
    exact = view(still_bout, np.random.default_rng(1), rate_hz=10)
    assert isinstance(exact, View)
    assert exact.keypoints.shape == (40, 2, 17, 3)
    assert not np.isnan(exact.keypoints).any()
    noisy = view(still_bout, np.random.default_rng(1), ReaderErrors(noise_m=0.05), rate_hz=10)
    pixels = np.abs(noisy.keypoints - exact.keypoints)[..., :2]
    bodies = np.ptp(exact.keypoints[0, :, :, :2].reshape(-1, 2), axis=0).max()
    assert 0.005 * bodies < pixels.mean() < 0.2 * bodies


def test_a_stored_bout_comes_back(still_bout, tmp_path):
    still_bout.save(tmp_path)
    back = StoredBout.load(tmp_path / "still.npz")
    np.testing.assert_allclose(back.keypoints, still_bout.keypoints, atol=1e-6)
    assert back.timeline.segments == still_bout.timeline.segments
    assert [m.kind for m in back.timeline.moments] == ["mount_taken_attempt", "takedown_attempt"]
    assert list(labels_at(back.timeline, np.array([0.0, 1.99, 2.0, 9.0]))) == [
        "standing",
        "standing",
        "mount/B",
        "mount/B",
    ]


def test_a_camera_projects_by_hand():
    camera = Camera(np.array([0, -4.0, 1]), np.array([0, 0.0, 1]), 0.0, 90.0, (200, 100))
    x, y, depth = camera.project(np.array([1.0, 0.0, 2.0]))
    # 90° over 200 pixels: focal length 100 pixels; 1 m right and up at 4 m are 25 pixels.
    assert (x, y, depth) == (pytest.approx(125), pytest.approx(25), pytest.approx(4))
