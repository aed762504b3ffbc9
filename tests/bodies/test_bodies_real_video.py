"""A real recording of two people, to notice when a reader no longer sees anybody."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.bodies import RegionTracker, ensure_bundle
from pipeline.bodies.mediapipe import MediaPipeReader
from pipeline.bodies.pairing import body_box
from pipeline.errors import MatlineError
from pipeline.footage import Footage
from tests.reference import reference_member

POSE2SIM = "pose2sim==0.10.49"  # BSD-3-Clause; its demo videos of two people
VIEW = "Pose2Sim/Demo_MultiPerson/videos/{}.mp4"


@pytest.fixture(scope="module")
def reader():
    try:
        ensure_bundle()
    except MatlineError as error:
        pytest.skip(str(error))
    made = MediaPipeReader()
    yield made
    made.close()


@pytest.mark.network
@pytest.mark.parametrize("camera", ["cam02", "cam04"])
def test_both_people_of_a_real_recording_are_found_in_most_samples(reader, camera):
    footage = Footage.open(reference_member(POSE2SIM, VIEW.format(camera)))
    tracker = RegionTracker()
    looks = [tracker.read(reader, frame.image) for frame in footage.frames(6.0)]
    assert len(looks) == 10  # 100 pictures at 60 a second
    assert np.mean([look.region is not None for look in looks]) >= 0.7
    width, height = footage.info.width, footage.info.height
    for look in looks:
        for body in look.bodies:
            box = body_box(body)
            assert box is None or (0 <= box.x0 < box.x1 <= width and 0 <= box.y0 < box.y1 <= height)
            assert body.keypoints.shape == (17, 3)


@pytest.mark.network
def test_a_standing_person_is_the_right_way_up(reader):
    footage = Footage.open(reference_member(POSE2SIM, VIEW.format("cam02")))
    look = reader.read(next(footage.frames()).image)
    assert look.bodies
    for body in look.bodies:
        y = body.keypoints[:, 1]
        assert np.nanmean(y[:5]) < np.nanmean(y[11:13]) < np.nanmean(y[15:17])
