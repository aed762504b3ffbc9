"""Only the chosen mat is read: a bout on the next mat, and who stands beside it, are not there."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.bodies import Body, Look, Mat, Region, RegionTracker
from pipeline.bodies.pairing import pair_box
from pipeline.errors import MatlineError
from pipeline.settings import BodiesSettings
from tests.bodies.test_bodies_region import BLACK, figure

SETTINGS = BodiesSettings()
OURS = (figure(180, 200, 150), figure(230, 205, 150))
NEXT = (figure(560, 150, 240), figure(640, 155, 240))
"""Larger and surer: without a mat they are the pair."""
MAT = Mat.box(60, 290, 380, 420)


class Crowd:
    """A reader that sees everyone, and calls the largest two the pair."""

    name = "crowd"

    def __init__(self, *bodies: Body) -> None:
        self.bodies = bodies

    def read(self, image: np.ndarray, region: Region | None = None, mat: Mat | None = None) -> Look:
        return Look(self.bodies, pair_box(self.bodies, SETTINGS), {"standing": 1.0}, 0.7)


def test_without_a_mat_the_larger_pair_is_followed():
    tracker = RegionTracker()
    tracker.read(Crowd(*OURS, *NEXT), BLACK)
    assert tracker.region is not None
    assert tracker.region.x0 > 500


def test_the_pair_on_the_next_mat_is_not_there():
    tracker = RegionTracker()
    look = tracker.read(Crowd(*OURS, *NEXT), BLACK, MAT)
    assert look.bodies == OURS
    assert look.region is not None
    assert look.region.x1 < 400
    assert look.top is None
    assert look.positions is None


def test_a_mat_that_nobody_is_on_has_no_pair():
    look = RegionTracker().read(Crowd(*NEXT), BLACK, MAT)
    assert look.bodies == ()
    assert look.region is None


def test_who_stands_in_front_of_the_mat_is_not_on_it():
    sitting_in_front = figure(200, 330, 250)  # the head covers the mat, the feet are below it
    assert MAT.people((*OURS, sitting_in_front), SETTINGS.mat_margin) == OURS


def test_who_lies_on_the_mat_with_legs_in_the_air_is_on_it():
    lying = figure(200, 0, 150)
    keypoints = lying.keypoints.copy()
    keypoints[:, :2] = keypoints[:, 1::-1] + (100, 160)  # along the mat, at y = 360
    keypoints[13:, 1] -= 150  # knees and ankles up, beyond its far edge
    assert keypoints[13:, 1].max() < 290
    assert MAT.holds_body(keypoints, SETTINGS.mat_margin)


def test_a_slanting_mat_ends_at_its_edge():
    slanting = Mat.parse("100,100 300,60 340,200 90,220")
    assert slanting.holds(200, 90)
    assert not slanting.holds(110, 70)  # in its box, beside it
    assert slanting.scaled(2).holds(400, 180)
    assert slanting.bounds == Region(90, 60, 340, 220)


@pytest.mark.parametrize("text", ["", "1,2,3", "a,b,c,d", "5,5,5,90", "1,1 2,2 3,3", "nan,0,9,9"])
def test_what_is_no_mat_is_refused(text):
    with pytest.raises(MatlineError, match="mat"):
        Mat.parse(text)


def test_of_two_real_bouts_side_by_side_the_one_on_the_mat_is_read():
    """The sample clip beside itself: whichever side is chosen, both bodies are on that side."""
    from pipeline.bodies import make_reader
    from pipeline.bodies.readers import pair_weights_are_there
    from pipeline.footage import Footage
    from pipeline.overnight.samples import sample_clip

    if not pair_weights_are_there():
        pytest.skip("the pair reader's weights are not here")
    frame = next(iter(Footage.open(sample_clip()).frames(start_s=20.0)))
    both = np.concatenate([frame.image, frame.image], axis=1)
    height, width = frame.image.shape[:2]
    reader = make_reader("pair", threads=1)
    for left in (0, width):
        mat = Mat.box(left, 0.3 * height, left + width, height)
        look = RegionTracker().read(reader, both, mat)
        assert len(look.bodies) == 2
        for body in look.bodies:
            middle = float(body.keypoints[:, 0].mean())
            assert left < middle < left + width
