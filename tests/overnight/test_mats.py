"""The mat that was chosen is the one that is read, tonight and in later nights."""

from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from pipeline.cli import app
from pipeline.errors import MatlineError
from pipeline.library import Library
from tests.overnight.figures import make_clip
from tests.overnight.test_night import READER, became, plan_and_run

LEFT = ((0.0, 30.0), (75.0, 30.0), (75.0, 95.0), (0.0, 95.0))
"""Where the red figure is, at x = 40 to 60; the blue one is at 90 to 110."""


@pytest.fixture(scope="module")
def clip(tmp_path_factory) -> Path:
    return make_clip(tmp_path_factory.mktemp("mats") / "camera 1.mp4", 4)


@pytest.fixture
def library(tmp_path) -> Library:
    return Library(tmp_path / "library")


def bodies_seen(library: Library) -> np.ndarray:
    """Return how many samples each athlete was seen in, A and B."""
    _, keypoints = library.keypoints(library.bouts()[0].id)
    return np.isfinite(keypoints[..., 0]).any(axis=2).sum(axis=0)


def test_only_who_is_on_the_mat_reaches_the_library_and_the_mat_is_kept(library, clip):
    plan_and_run(library, clip)
    assert bodies_seen(library).min() > 15
    _, on_left = plan_and_run(library, clip, mat=LEFT)
    assert became(on_left) == ["read"]  # another mat is another reading
    assert bodies_seen(library).min() == 0
    assert bodies_seen(library).max() > 15
    assert library.mat(library.bouts()[0].content_key) == LEFT
    plan, later = plan_and_run(library, clip)  # not said again: as it was kept
    assert became(later) == ["known"]
    assert plan.left_s == 0


def test_without_a_mat_again_all_is_as_before_and_no_piece_is_read_twice(library, clip):
    plan_and_run(library, clip)
    plan_and_run(library, clip, mat=LEFT)
    plan, _ = plan_and_run(library, clip, mat=())
    assert plan.left_s == 0  # the pieces of the whole picture are still there
    assert bodies_seen(library).min() > 15


def test_a_mat_outside_the_picture_is_refused_and_not_kept(library, clip):
    far = tuple((x + 500, y) for x, y in LEFT)
    _, summary = plan_and_run(library, clip, mat=far)
    assert became(summary) == ["failed"]
    assert "160 × 96" in summary.files[0].why


def test_the_command_takes_the_mat_of_another_bout(library, clip, tmp_path):
    def read(path: Path, mat: str):
        arguments = ["read", str(path), "--backend", READER, "--mat", mat, "--workers", "1"]
        return CliRunner().invoke(app, [*arguments, "--library", str(library.root)])

    assert read(clip, "0,30,75,95").exit_code == 0
    other = make_clip(tmp_path / "camera 1, later.mp4", 3)
    assert read(other, "camera 1").exit_code == 0
    first, second = library.bouts()
    assert library.mat(second.content_key) == library.mat(first.content_key) == LEFT
    refused = read(other, "nowhere")
    assert isinstance(refused.exception, MatlineError)
    assert "nowhere" in str(refused.exception)
