"""Hours of a mat camera become the bouts that were fought, each with its own place in the file."""

import numpy as np
import pandas as pd
import pytest

from pipeline.library import Library
from pipeline.overnight import InThisProcess, Order, make_plan, run_night
from pipeline.overnight.bouts import find_bouts
from pipeline.overnight.reading import Reading
from pipeline.settings import OvernightSettings, Settings
from pipeline.timeline import Timeline
from tests.overnight.figures import make_clip


def reading_of(action: list[tuple[float, float]], length_s: float, empty: bool = False) -> Reading:
    """Return a reading at 5 a second in which two people are at it in some stretches."""
    times = np.arange(0, length_s, 0.2)
    at_it = np.zeros(len(times), bool)
    for start, end in action:
        at_it |= (times >= start) & (times < end)
    keypoints = np.zeros((len(times), 2, 17, 3), np.float32)
    keypoints[~at_it, 1] = np.nan if empty else 0
    probabilities = pd.DataFrame({"apart": ~at_it * 0.9, "mount": 1 - ~at_it * 0.9}, index=times)
    none = np.ones(len(times))
    return Reading(times, keypoints, pd.DataFrame(index=times), probabilities, Timeline(), (), none)


@pytest.mark.parametrize("empty", [True, False], ids=["mat empty", "people apart"])
def test_two_bouts_with_minutes_between_are_two(empty):
    found = find_bouts(reading_of([(100, 400), (560, 800)], 1000, empty))
    assert found == [pytest.approx((97, 402.8)), pytest.approx((557, 802.8))]


def test_a_stop_within_a_bout_does_not_end_it():
    assert len(find_bouts(reading_of([(10, 100), (150, 300)], 400))) == 1


def test_people_who_meet_on_their_way_are_no_bout():
    assert find_bouts(reading_of([(10, 30)], 400)) == []
    assert find_bouts(reading_of([], 400)) == []


@pytest.fixture(scope="module")
def two_bouts(tmp_path_factory):
    return make_clip(tmp_path_factory.mktemp("mat") / "mat 1.mp4", 40, empty=(16, 25))


SETTINGS = Settings(
    overnight=OvernightSettings(chunk_s=12, bout_pause_s=5, bout_least_s=5, bout_margin_s=1)
)


@pytest.fixture
def at_it_when_seen(monkeypatch):
    """Take two people in the picture for a bout, so that the test is about what becomes of it."""
    monkeypatch.setattr(
        "pipeline.overnight.bouts.engaged",
        lambda reading: np.isfinite(reading.keypoints[..., 0]).any(axis=2).all(axis=1),
    )


def night(library: Library, path, whole: bool = False, again: bool = False):
    order = Order(library, SETTINGS, "tests.overnight.figures:FigureReader", again, whole)
    plan = make_plan(order, [path], InThisProcess())
    return run_night(order, plan, InThisProcess())


def test_each_bout_of_a_file_is_an_entry_of_its_own(tmp_path, two_bouts, at_it_when_seen):
    library = Library(tmp_path)
    summary = night(library, two_bouts)
    bouts = library.bouts()
    assert summary.files[0].bouts == tuple(bout.id for bout in bouts)
    assert [bout.title for bout in bouts] == ["mat 1, bout 1", "mat 1, bout 2"]
    assert [(b.start_s, b.end_s) for b in bouts] == [
        pytest.approx((0, 16.8), abs=0.5), pytest.approx((24, 40), abs=0.5),
    ]  # fmt: skip
    for bout in bouts:
        times, _ = library.keypoints(bout.id)
        assert bout.start_s <= times[0]
        assert times[-1] < bout.end_s
        segments = library.timeline(bout.id).segments
        assert segments[0].start_s >= bout.start_s
    night(library, two_bouts, again=True)
    assert [bout.id for bout in library.bouts()] == list(summary.files[0].bouts)


def test_a_user_can_keep_a_file_whole(tmp_path, two_bouts, at_it_when_seen):
    library = Library(tmp_path)
    night(library, two_bouts, whole=True)
    assert [bout.title for bout in library.bouts()] == ["mat 1"]
