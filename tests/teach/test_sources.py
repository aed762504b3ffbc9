"""Phones film with and without sound, sideways, and at any rate: a clip must be right of each."""

from fractions import Fraction

import av
import numpy as np
import pandas as pd
import pytest

from pipeline.library import Library
from pipeline.outputs.clips import Look, Wanted, choose_clips, write_reel
from pipeline.outputs.study import select
from pipeline.settings import ClipsSettings
from tests.footage.recordings import every, make_video, number_in, uneven
from tests.teach.conftest import TIMELINE, skeletons
from tests.teach.test_reel import decoded

SETTINGS = ClipsSettings(lead_in_s=1.0, lead_out_s=0.5)
START_S, END_S = 2.5, 5.5
"""The sweep of the timeline with its leads."""


def shelved(root, footage) -> Library:
    library = Library(root)
    times, keypoints = skeletons()
    index = pd.Index(times, name="time_s")
    heights = pd.DataFrame({"a_hip_height": 0.5 + 0.1 * times}, index=index)
    bout = library.add_bout(footage, 10.0, title="Kim – Noor", we="A")
    library.save_reading(
        bout.id, times, keypoints, heights, pd.DataFrame(index=index), TIMELINE, reader="invented"
    )
    return library


def sweep_of(tmp_path, footage, look=Look(caption=False), settings=SETTINGS):  # noqa: B008
    library = shelved(tmp_path / "library", footage)
    clips = choose_clips(select(library), Wanted(kinds=("sweep",)), settings)
    return write_reel(library, clips, tmp_path / "reel.mp4", look, settings)


def expected(ticks, base=Fraction(1, 90_000)):
    """Which pictures lie in the clip, and their times from its beginning."""
    times = np.array([float((t - ticks[0]) * base) for t in ticks])
    inside = np.flatnonzero((times >= START_S) & (times < END_S))
    return inside.tolist(), times[inside] - START_S


RATES = {
    "film, 24000/1001": (every(1001, 240), Fraction(1, 24_000)),
    "television, 30000/1001": (every(1001, 300), Fraction(1, 30_000)),
    "12 a second": (every(1, 120), Fraction(1, 12)),
    "half speed, 12.5": (every(7200, 125), Fraction(1, 90_000)),
    "sport, 120": (every(750, 1200), Fraction(1, 90_000)),
    "one every two seconds": (every(180_000, 6), Fraction(1, 90_000)),
    "uneven": (uneven(250), Fraction(1, 90_000)),
    "a clock that starts late": (every(3000, 300, first=270_000), Fraction(1, 90_000)),
}


@pytest.mark.parametrize("rate", RATES)
@pytest.mark.parametrize("sound", [False, True], ids=["silent", "with sound"])
def test_a_clip_has_each_picture_at_its_time_at_any_rate_with_or_without_sound(
    tmp_path, rate, sound
):
    ticks, base = RATES[rate]
    path = make_video(tmp_path / "a.mp4", ticks, time_base=base, sound=sound)
    with av.open(str(path)) as film:
        assert len(film.streams.audio) == sound
    written = sweep_of(tmp_path, path)
    times, images, length, _ = decoded(written)
    numbers, due = expected(ticks, base)
    shown = [number_in(image) for image in images]
    assert list(dict.fromkeys(shown)) == numbers
    first = {number: times[shown.index(number)] for number in numbers}
    np.testing.assert_allclose([first[n] for n in numbers[1:]], due[1:], atol=3e-5)
    assert times[0] == 0
    assert length == pytest.approx(END_S - START_S, abs=2e-3)
    with av.open(str(written)) as film:
        assert not film.streams.audio


@pytest.mark.parametrize("rotation", [90, 180, 270])
@pytest.mark.parametrize("sound", [False, True], ids=["silent", "with sound"])
def test_a_phone_held_sideways_gives_an_upright_clip(tmp_path, rotation, sound):
    ticks = every(3000, 300)
    path = make_video(tmp_path / "a.mp4", ticks, rotation=rotation, sound=sound)
    _, images, *_ = decoded(sweep_of(tmp_path, path))
    turns = rotation // 90
    numbers, _ = expected(ticks)
    assert images[0].shape[:2] == ((240, 136) if turns % 2 else (136, 240))
    # The stored picture is turned anticlockwise by the angle the container names.
    upright = [np.rot90(image, -turns) for image in images]
    assert [number_in(image) for image in upright] == numbers


def test_what_is_drawn_lies_on_the_upright_picture(tmp_path):
    path = make_video(tmp_path / "a.mp4", every(3000, 300), size=(480, 272), rotation=90)
    (tmp_path / "bare").mkdir()
    bare = decoded(sweep_of(tmp_path / "bare", path))[1]
    times, drawn, *_ = decoded(sweep_of(tmp_path, path, Look(caption=False, skeletons=True)))
    assert drawn[0].shape == (480, 272, 3)
    for time_s, one, other in list(zip(times, drawn, bare, strict=True))[::10]:
        rows, columns = np.nonzero(np.abs(one.astype(int) - other).max(2) > 60)
        assert columns.min() == pytest.approx(80 + 20 * (time_s + START_S) - 15, abs=6)
        # Heads 95 above, knees 20 below hips that stand at row 180.
        assert rows.min() == pytest.approx(180 - 95, abs=8)
        assert rows.max() == pytest.approx(180 + 20, abs=8)


@pytest.mark.parametrize("speed", [0.3, 2.0])
def test_slow_and_fast_motion_keep_every_picture_in_order(tmp_path, speed):
    ticks, base = RATES["television, 30000/1001"]
    path = make_video(tmp_path / "a.mp4", ticks, time_base=base, sound=True)
    paced = ClipsSettings(lead_in_s=1.0, lead_out_s=0.5, speed=speed, freeze_s=0.7)
    times, images, length, _ = decoded(sweep_of(tmp_path, path, settings=paced))
    numbers, _ = expected(ticks, base)
    assert list(dict.fromkeys(number_in(image) for image in images)) == numbers
    assert (np.diff(times) > 0).all()
    assert length == pytest.approx(1.0 + 1.5 / speed + 0.5 + 0.7, abs=2e-3)


def test_clips_of_different_footage_share_a_reel(tmp_path):
    wide = make_video(tmp_path / "wide.mp4", every(3000, 300), sound=True)
    tall = make_video(tmp_path / "tall.mp4", every(3600, 250), size=(320, 180), rotation=90)
    library = shelved(tmp_path / "library", wide)
    times, keypoints = skeletons()
    nothing = pd.DataFrame(index=pd.Index(times, name="time_s"))
    other = library.add_bout(tall, 10.0, title="tall")
    library.save_reading(other.id, times, keypoints, nothing, nothing, TIMELINE, reader="invented")
    clips = choose_clips(select(library), Wanted(kinds=("sweep",)), SETTINGS)
    _, images, length, chapters = decoded(
        write_reel(library, clips, tmp_path / "reel.mp4", Look(caption=False), SETTINGS)
    )
    assert {image.shape for image in images} == {(320, 240, 3)}
    assert length == pytest.approx(6.0, abs=2e-3)
    assert len(chapters) == 2
    dark = [image.max(axis=2) < 30 for image in (images[0], images[-1])]
    # 240 × 136 in the middle of 240 × 320, and 180 × 320 in the same.
    assert dark[0].all(axis=1).sum() == pytest.approx(320 - 136, abs=4)
    assert dark[1].all(axis=0).sum() == pytest.approx(240 - 180, abs=4)
