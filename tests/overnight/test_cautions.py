"""Footage that lies on its side is noticed, and footage that doesn't is not doubted."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from pipeline.outputs.coco import read_coco
from pipeline.overnight.cautions import cautions, turned
from pipeline.overnight.reading import Reading
from pipeline.timeline import Timeline

CLIPS = Path(__file__).parents[2] / "sample_clips"
BOUTS = ("bout-1", "bout-2", "bout-3")
LYING = ["", "left", "over", "right"]
"""How to turn a picture back that was turned so many quarters to the right."""


def keypoints_of(bout: str) -> tuple[np.ndarray, np.ndarray]:
    """Return a sample clip's times and true keypoints."""
    pictures = read_coco(CLIPS / f"{bout}.keypoints.json")
    times = np.array([picture.time_s for picture in pictures])
    return times, np.array([[b.keypoints for b in picture.bodies] for picture in pictures])


def lying(keypoints: np.ndarray, quarters: int) -> np.ndarray:
    """Return keypoints as they are where the picture was turned to the right."""
    out = keypoints.copy()
    for _ in range(quarters):
        out[..., 0], out[..., 1] = -out[..., 1], out[..., 0].copy()
    return out


@pytest.mark.parametrize("bout", BOUTS)
@pytest.mark.parametrize("quarters", range(4))
def test_a_film_is_turned_back_as_far_as_it_was_turned(bout, quarters):
    times, keypoints = keypoints_of(bout)
    rng = np.random.default_rng(quarters)
    read = lying(keypoints, quarters)
    read[..., :2] += rng.normal(0, 5, read[..., :2].shape)  # a reader's errors
    read[rng.random(read.shape[:3]) < 0.05] = np.nan
    assert turned(times, read) == LYING[quarters]


@pytest.mark.parametrize("bout", BOUTS)
@pytest.mark.parametrize("seconds", [3, 5, 10, 20])
def test_a_film_that_begins_anywhere_in_an_upright_bout_is_not_called_turned(bout, seconds):
    times, keypoints = keypoints_of(bout)
    for start in np.arange(0, times[-1] - seconds, 0.5):
        part = (times >= start) & (times < start + seconds)
        assert turned(times[part], keypoints[part]) == "", f"from {start} s"


def test_who_stands_where_the_other_was_not_found_shows_that_the_picture_is_upright():
    times, keypoints = keypoints_of("bout-1")
    stretched_out = (times >= 11.3) & (times < 12.1)  # chest on chest, along the picture
    keypoints = np.concatenate([keypoints[times < 5], *3 * [keypoints[stretched_out]]])
    times = np.arange(len(keypoints)) / 5
    assert turned(times[times >= 5], keypoints[times >= 5]) == "left"
    keypoints[times < 2, 1] = keypoints[(times >= 2) & (times < 5), 0] = np.nan
    assert turned(times, keypoints) == ""


def test_nothing_is_said_of_a_film_without_people_or_samples():
    assert turned(np.empty(0), np.empty((0, 2, 17, 3))) == ""
    assert turned(np.arange(50) / 5, np.full((50, 2, 17, 3), np.nan)) == ""


def test_the_sentence_says_how_to_turn_it():
    times, keypoints = keypoints_of("bout-1")
    table = pd.DataFrame(index=times)
    read = lying(keypoints, 1).astype(np.float32)
    (said,) = cautions(Reading(times, read, table, table, Timeline(), (), np.ones(len(times))))
    assert said.startswith("The picture seems to lie on its side: turn it a quarter to the left")
