"""The tracker keeps a reader looking at the pair."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from pipeline.bodies import Body, Look, Region, RegionTracker
from pipeline.bodies.pairing import overlap, pair_box, same_body
from pipeline.bodies.region import Motion, clamped
from pipeline.settings import BodiesSettings

SETTINGS = BodiesSettings()
# A standing figure in units of its height: x, y of COCO's 17 keypoints.
FIGURE = np.array(
    [(0, 0.06), (0.01, 0.05), (-0.01, 0.05), (0.03, 0.06), (-0.03, 0.06), (0.12, 0.18),
     (-0.12, 0.18), (0.15, 0.34), (-0.15, 0.34), (0.16, 0.48), (-0.16, 0.48), (0.08, 0.5),
     (-0.08, 0.5), (0.09, 0.74), (-0.09, 0.74), (0.09, 0.97), (-0.09, 0.97)]
)  # fmt: skip


def figure(x: float, y: float, height: float, confidence: float = 0.9) -> Body:
    xy = FIGURE * height + (x, y)
    points = np.column_stack([xy, np.full(17, confidence)]).astype(np.float32)
    return Body(points, confidence)


class Eyes:
    """A reader that sees given bodies if they lie in the region it is told to look at."""

    name = "eyes"

    def __init__(self, bodies: tuple[Body, ...], sees_whole_frame: bool = True) -> None:
        self.bodies, self.sees_whole_frame = bodies, sees_whole_frame
        self.asked: list[Region | None] = []

    def read(self, image: np.ndarray, region: Region | None = None) -> Look:
        self.asked.append(region)
        if region is None:
            seen = self.bodies if self.sees_whole_frame else ()
        else:
            seen = tuple(body for body in self.bodies if _holds(region, body))
        return Look(seen, pair_box(seen, SETTINGS, region))


def _holds(region: Region, body: Body) -> bool:
    x, y = body.keypoints[:, :2].mean(0)
    return region.x0 < x < region.x1 and region.y0 < y < region.y1


BLACK = np.zeros((600, 800, 3), np.uint8)
PAIR = (figure(300, 100, 400), figure(420, 110, 400))
REFEREE = figure(700, 150, 200)


def test_the_pair_is_chosen_over_a_referee_who_stands_apart():
    box = pair_box((REFEREE, *PAIR), SETTINGS)
    assert box is not None
    assert box.x1 < 600


def test_one_person_found_twice_is_no_pair():
    twin = figure(303, 102, 398)
    assert same_body(PAIR[0], twin, SETTINGS.duplicate_share)
    assert pair_box((PAIR[0], twin), SETTINGS) is None


def test_two_people_across_the_hall_are_no_pair():
    assert pair_box((figure(50, 100, 150), figure(750, 100, 150)), SETTINGS) is None


def test_a_missing_keypoint_does_not_spoil_the_box():
    body = figure(300, 100, 400)
    body.keypoints[10] = np.nan
    box = pair_box((body, PAIR[1]), SETTINGS)
    assert box is not None
    assert np.isfinite([box.x0, box.y0, box.x1, box.y1]).all()


def test_the_next_sample_is_read_where_the_pair_was():
    reader, tracker = Eyes(PAIR), RegionTracker()
    first = tracker.read(reader, BLACK)
    tracker.read(reader, BLACK)
    assert reader.asked[0] is None
    assert reader.asked[1] == tracker.region
    assert first.region is not None
    assert overlap(first.region, tracker.region) > 0.9


def test_a_pair_that_left_the_region_is_found_again():
    reader, tracker = Eyes(PAIR), RegionTracker()
    tracker.read(reader, BLACK)
    reader.bodies = (figure(60, 50, 60), figure(75, 50, 60))
    for _ in range(SETTINGS.region_patience + 1):
        look = tracker.read(reader, BLACK)
    assert look.region is not None
    assert tracker.region.x1 < 150


def test_a_short_miss_keeps_the_region():
    reader, tracker = Eyes(PAIR), RegionTracker()
    tracker.read(reader, BLACK)
    region, reader.bodies = tracker.region, ()
    assert tracker.read(reader, BLACK).region is None
    assert tracker.region == region


def test_the_region_grows_at_once_and_shrinks_slowly():
    reader, tracker = Eyes(PAIR), RegionTracker()
    tracker.read(reader, BLACK)
    small = tracker.region
    reader.bodies = (figure(300, 20, 560), figure(470, 110, 400))
    large = tracker.read(reader, BLACK).region
    assert tracker.region.y0 <= large.y0
    reader.bodies = PAIR
    tracker.read(reader, BLACK)
    assert large.y0 < tracker.region.y0 < small.y0


def test_motion_shows_where_to_look_when_the_whole_frame_shows_nobody():
    reader, tracker = Eyes(PAIR, sees_whole_frame=False), RegionTracker()
    moved = cv2.rectangle(BLACK.copy(), (280, 120), (460, 480), (200, 180, 160), cv2.FILLED)
    tracker.read(reader, BLACK)
    look = tracker.read(reader, moved)
    assert look.region is not None
    assert len(look.bodies) == 2


def test_an_empty_mat_is_not_looked_at_twice_for_hours():
    reader, tracker = Eyes(()), RegionTracker()
    for index in range(40):
        image = cv2.circle(BLACK.copy(), (100 + 10 * index, 300), 30, (255, 255, 255), cv2.FILLED)
        tracker.read(reader, image)
    assert len(reader.asked) <= 40 + 40 / SETTINGS.region_motion_every + 1


def region_of(motion, image):
    """Return where the picture differs from the one before."""
    motion.saw(image)
    return motion.region()


def test_motion_is_the_box_of_what_moved():
    motion = Motion()
    assert region_of(motion, BLACK) is None
    moved = cv2.rectangle(BLACK.copy(), (300, 200), (500, 400), (255, 255, 255), cv2.FILLED)
    box = region_of(motion, moved)
    np.testing.assert_allclose([box.x0, box.y0, box.x1, box.y1], [300, 200, 500, 400], atol=15)


def test_a_camera_that_moves_and_a_noisy_sensor_are_no_motion():
    rng, motion = np.random.default_rng(0), Motion()
    motion.saw(BLACK)
    assert region_of(motion, rng.integers(0, 7, BLACK.shape, dtype=np.uint8)) is None
    assert region_of(motion, np.full_like(BLACK, 200)) is None


def test_motion_is_that_since_the_sample_before_also_when_it_was_not_asked_for_then():
    there, here, motion = BLACK.copy(), BLACK.copy(), Motion()
    there[10:30, 20:60] = 255
    here[50:80, 100:140] = 255
    for image in (here, BLACK, there):
        motion.saw(image)
    fresh = Motion()
    fresh.saw(BLACK)
    assert motion.region() == region_of(fresh, there) is not None


@pytest.mark.parametrize(
    "box", [(-50, -60, 900, 700), (790, 590, 850, 650), (-100, -100, -50, -50)]
)
def test_a_region_never_leaves_the_frame(box):
    inside = clamped(Region(*box), BLACK)
    assert 0 <= inside.x0 < inside.x1 <= 800
    assert 0 <= inside.y0 < inside.y1 <= 600
