"""Who is who on a real recording of two people, as MediaPipe reads them.

Source: the two-person example of the Pose2Sim package (BSD-3-Clause), three of its cameras, 1.7 s
each. In each picture a line between the two people, read off by eye, that neither crosses while
they are apart. A bystander stands behind them in two of the views, and MediaPipe finds one of
the two twice, or only one, in many pictures.
"""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.athletes import Athletes
from pipeline.bodies import Look, ensure_bundle
from pipeline.bodies.mediapipe import MediaPipeReader
from pipeline.errors import MatlineError
from pipeline.footage import Footage
from tests.reference import reference_member

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
@pytest.mark.parametrize(("camera", "line_x"), [("cam01", 600), ("cam02", 450), ("cam04", 620)])
def test_no_name_is_exchanged_while_two_real_people_are_apart(reader, camera, line_x):
    footage = Footage.open(reference_member("pose2sim==0.10.49", VIEW.format(camera)))
    athletes, rng = Athletes(), np.random.default_rng(0)
    for frame in footage.frames(rate_hz=10):
        found = reader.read(frame.image).bodies
        shuffled = tuple(found[i] for i in rng.permutation(len(found)))
        athletes.append(frame.time_s, frame.image, Look(shuffled))
    trunk_x = athletes.result().keypoints[:, :, [5, 6, 11, 12], 0].mean(axis=2)
    seen = np.isfinite(trunk_x)
    assert (seen.sum(axis=0) >= 4).all()
    assert (trunk_x[seen[:, 0], 0] < line_x).all()
    assert (trunk_x[seen[:, 1], 1] > line_x).all()
