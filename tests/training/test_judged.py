"""How often the judge names pairs as their templates do, as it is printed."""

from __future__ import annotations

import numpy as np
import pytest

pytest.importorskip("torch", reason="pairs are solved with PyTorch: pip install .[training]")

from models.training.positions.judged import Judged, report
from pipeline.positions.judging import judge_poses
from tests.positions.poses import POSES


def test_the_report_counts_what_was_said_instead_and_names_the_family():
    joints = np.stack([POSES["mount"], POSES["side_control"], POSES["mount"]])
    position = np.array(["mount", "side_control", "side_control"])
    family = np.array(["low", "from the side", "doubtful"])
    told = report(Judged(joints, family, position, np.array(["A"] * 3), judge_poses(joints)))
    assert "judged as named: 0.667 of 3 pairs" in told
    assert "| mount | 1 | 1.00 | 1.00 |  |" in told
    assert "| side_control | 2 | 0.50 | 1.00 | mount 1 |" in told
    assert "| doubtful | 1 | 0.00 | mount 1 |" in told
    assert "| low |" not in told
