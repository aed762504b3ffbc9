"""A small cast, a studio and a standing pair that the scene tests share."""

from collections.abc import Callable
from itertools import islice
from pathlib import Path

import numpy as np
import pytest

from models.training.scenes.pose import BodyPose, PosedPair
from pipeline.bodies.look import COCO_KEYPOINTS
from pipeline.errors import MatlineError


@pytest.fixture(scope="session")
def people():
    pytest.importorskip("torch", reason="bodies are made with PyTorch: pip install .[training]")
    pytest.importorskip("anny", reason="bodies are made with Anny: pip install .[training]")
    from models.training.scenes.body import cast

    return cast(6, seed=0)


@pytest.fixture(scope="session")
def studio(people):
    """Two people and a renderer."""
    pytest.importorskip("moderngl", reason="pictures are drawn with moderngl: .[training]")
    from models.training.scenes.picture import Studio
    from models.training.scenes.textures import load_textures

    try:
        return Studio(people[:2], load_textures(None))
    except MatlineError as error:
        pytest.skip(f"no OpenGL on this machine: {error}")


@pytest.fixture(scope="session")
def standing_pair(studio) -> Callable[[float], PosedPair]:
    """Makes two people who stand face to face, arms hanging, so many metres apart."""
    from models.training.scenes.joints import JOINT_INDEX, JOINT_NAMES

    joints = np.zeros(len(JOINT_NAMES), np.float32)
    joints[[JOINT_INDEX["sh_up.L"], JOINT_INDEX["sh_up.R"]]] = np.radians(-40)

    def stand(person: int, y: float, yaw: float) -> BodyPose:
        c, s = np.cos(yaw), np.sin(yaw)
        turn = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]], np.float32)
        body = BodyPose(person, joints, turn, np.array([0, y, 1], np.float32))
        lowest = studio.figures[person].lowest(studio.matrices(body))
        return BodyPose(person, joints, turn, np.array([0, y, 1 - lowest], np.float32))

    def make(gap: float) -> PosedPair:
        bodies = stand(0, -gap / 2, np.pi), stand(1, gap / 2, 0.0)
        return PosedPair("standing test", "standing", None, bodies)

    return make


@pytest.fixture(scope="session")
def draw(studio, standing_pair) -> Callable[[int], list]:
    """Draws so many small pictures of standing pairs, the same each time, with JPEG qualities."""
    from models.training.scenes.shards import Order, stream

    class Pairs(list):
        """Stands in for a file of solved pairs."""

        templates = ("standing test",)

    order = Order((Path("pairs"),), Path("cast"), Path("out"), count=4, views=2, long_side=128)

    def some(count: int) -> list:
        return list(islice(stream(studio, Pairs(map(standing_pair, (0.8, 1.2))), order, 0), count))

    return some


@pytest.fixture(scope="session")
def swapped():
    """Order of the keypoints with left and right exchanged."""
    other = {"left": "right", "right": "left"}
    names = [n.partition("_") for n in COCO_KEYPOINTS]
    return [COCO_KEYPOINTS.index(other.get(side, side) + bar + part) for side, bar, part in names]
