"""A clip that starts late, drops pictures or shows a face spoils the class. Checked by decoding."""

from dataclasses import replace
from fractions import Fraction

import av
import numpy as np
import pytest

from pipeline.bodies.draw import ATHLETE_COLOURS
from pipeline.errors import MatlineError
from pipeline.outputs.clips import Look, Pace, Wanted, choose_clips, write_files, write_reel
from pipeline.outputs.study import select
from pipeline.settings import ClipsSettings
from tests.footage.recordings import number_in, uneven
from tests.teach.conftest import PICTURES

PLAIN = Look(caption=False)
SETTINGS = ClipsSettings(lead_in_s=1.0, lead_out_s=0.5)
TIMES = np.array(uneven(PICTURES)) / 90_000


def decoded(path):
    """Return times, pictures, the film's length and chapters, as PyAV reads them back."""
    with av.open(str(path)) as film:
        stream = film.streams.video[0]
        frames = list(film.decode(stream))
        times = np.array([float(f.pts * f.time_base) for f in frames])
        images = [f.to_ndarray(format="rgb24") for f in frames]
        length = float(stream.duration * stream.time_base)
        chapters = [
            (float(c["start"] * c["time_base"]), float(c["end"] * c["time_base"]),
             c["metadata"]["title"])
            for c in film.chapters()
        ]  # fmt: skip
    return times, images, length, chapters


@pytest.fixture
def sweeps(library):
    return choose_clips(select(library), Wanted(kinds=("sweep",)), SETTINGS)


def test_a_clip_has_every_picture_of_its_stretch_once_at_its_time(library, sweeps, tmp_path):
    clip = sweeps[0]
    assert (clip.start_s, clip.end_s) == (2.5, 5.5)
    path = write_reel(library, sweeps, tmp_path / "reel.mp4", PLAIN, SETTINGS)
    times, images, length, _ = decoded(path)
    expected = np.flatnonzero((TIMES >= 2.5) & (TIMES < 5.5))
    assert [number_in(image) for image in images] == expected.tolist()
    np.testing.assert_allclose(times[1:], TIMES[expected][1:] - 2.5, atol=2e-5)
    assert times[0] == 0
    assert length == pytest.approx(3.0, abs=1e-3)


def test_slow_motion_stretches_only_the_moment(library, sweeps, tmp_path):
    slow = replace(SETTINGS, speed=0.25)
    times, images, length, _ = decoded(
        write_reel(library, sweeps, tmp_path / "slow.mp4", PLAIN, slow)
    )
    assert length == pytest.approx(1.0 + 1.5 / 0.25 + 0.5, abs=1e-3)
    source = TIMES[[number_in(image) for image in images]]
    before, during = source < 3.5, (source >= 3.5) & (source < 5.0)
    np.testing.assert_allclose(times[before][1:], source[before][1:] - 2.5, atol=2e-5)
    np.testing.assert_allclose(times[during], 1.0 + (source[during] - 3.5) * 4, atol=2e-5)


def test_the_picture_stands_still_at_the_peak(library, sweeps, tmp_path):
    still = replace(SETTINGS, freeze_s=2.0)
    times, images, length, _ = decoded(
        write_reel(library, sweeps, tmp_path / "still.mp4", PLAIN, still)
    )
    numbers = np.array([number_in(image) for image in images])
    peak = np.flatnonzero(TIMES <= 4.0)[-1]
    repeated, counts = np.unique(numbers, return_counts=True)
    assert repeated[counts > 1].tolist() == [peak]
    shown = times[numbers == peak]
    assert times[numbers == peak + 1][0] - shown[0] >= 2.0
    assert np.diff(shown).max() <= 0.1001
    assert length == pytest.approx(3.0 + 2.0, abs=1e-3)


def test_chapters_lie_where_the_clips_lie(library, tmp_path):
    clips = choose_clips(select(library), Wanted(), SETTINGS)
    assert [c.what for c in clips] == ["rise, Kim", "sweep, Kim", "mount taken attempt, Kim"]
    path = write_reel(library, clips, tmp_path / "reel.mp4", PLAIN, SETTINGS)
    times, images, length, chapters = decoded(path)
    ends = np.cumsum([Pace.of(c, SETTINGS).length_s for c in clips])
    assert [c[2] for c in chapters] == [c.caption for c in clips]
    np.testing.assert_allclose([c[1] for c in chapters], ends, atol=2e-3)
    np.testing.assert_allclose([c[0] for c in chapters][1:], ends[:-1], atol=2e-3)
    assert length == pytest.approx(ends[-1], abs=1e-3)
    for clip, (start_s, _, _) in zip(clips, chapters, strict=True):
        first = images[int(np.flatnonzero(times <= start_s + 2e-3)[-1])]
        assert number_in(first) == np.flatnonzero(clip.start_s <= TIMES)[0]


def test_a_file_a_clip_says_in_its_name_what_is_in_it(library, tmp_path):
    clips = choose_clips(select(library), Wanted(positions=("mount",)), SETTINGS)
    paths = write_files(library, clips, tmp_path, PLAIN, SETTINGS)
    assert [p.name.startswith("001-0-08-mount-Kim-on-top") for p in paths] == [True]
    assert decoded(paths[0])[2] == pytest.approx(3.0, abs=1e-3)


def test_skeletons_are_drawn_where_the_bodies_are(library, sweeps, tmp_path):
    path = write_reel(library, sweeps, tmp_path / "s.mp4", replace(PLAIN, skeletons=True), SETTINGS)
    plain = write_reel(library, sweeps, tmp_path / "p.mp4", PLAIN, SETTINGS)
    times, drawn, *_ = decoded(path)
    bare = decoded(plain)[1]
    for time_s, one, other in list(zip(times, drawn, bare, strict=True))[::10]:
        changed = np.abs(one.astype(int) - other).max(2) > 60
        columns = np.flatnonzero(changed.any(0))
        a = 80 + 20 * (time_s + 2.5)  # between samples too
        assert columns.min() == pytest.approx(a - 15, abs=6)
        assert columns.max() == pytest.approx(320 + 15, abs=6)


def test_the_trace_goes_below_and_its_line_moves_with_time(library, sweeps, tmp_path):
    path = write_reel(library, sweeps, tmp_path / "t.mp4", replace(PLAIN, trace=True), SETTINGS)
    times, images, *_ = decoded(path)
    assert images[0].shape == (310, 480, 3)
    assert number_in(images[3][:270]) == np.flatnonzero(TIMES >= 2.5)[3]
    for index in (5, len(images) // 2, len(images) - 3):
        strip = images[index][271:, :].astype(int)
        dark = np.flatnonzero(strip.max(2).mean(0) < 110)
        assert dark.mean() == pytest.approx(times[index] / 3.0 * 479, abs=4)


def test_a_caption_is_readable_on_any_picture(library, sweeps, tmp_path):
    path = write_reel(library, sweeps, tmp_path / "c.mp4", Look(), SETTINGS)
    image = decoded(path)[1][0]
    band = image[:14]
    assert band.max() > 150
    assert np.median(band) < 110


def test_the_caption_says_whose_colour_is_whose(library, sweeps, tmp_path):
    look = Look(skeletons=True)
    image = decoded(write_reel(library, sweeps, tmp_path / "c.mp4", look, SETTINGS))[1][0]
    plain = decoded(write_reel(library, sweeps, tmp_path / "p.mp4", Look(), SETTINGS))[1][0]
    band = image[:16].astype(int)
    added = np.abs(band - plain[:16]).max(2) > 40
    assert added[:, 240:].any()
    assert not added[:, :240].any()
    hues = [colour - np.mean(colour) for colour in np.array(ATHLETE_COLOURS, float)]
    for hue in hues:
        likeness = (band - band.mean(2, keepdims=True)) @ hue / np.linalg.norm(hue)
        assert likeness[:, 240:].max() > 25


def test_long_captions_keep_the_names_and_the_picture(library, sweeps, tmp_path):
    wordy = [replace(sweeps[0], what="a sweep " * 12)]
    image = decoded(write_reel(library, wordy, tmp_path / "c.mp4", Look(trace=True), SETTINGS))[1][
        0
    ]
    assert image.shape == (310, 480, 3)


def test_nothing_half_written_is_left_when_footage_is_gone(library, sweeps, tmp_path):
    gone = [replace(sweeps[0], bout=replace(sweeps[0].bout, footage=tmp_path / "gone.mp4"))]
    out = tmp_path / "out"
    with pytest.raises(MatlineError, match=r"gone\.mp4"):
        write_reel(library, gone, out / "reel.mp4", PLAIN, SETTINGS)
    assert not list(out.glob("*")) if out.exists() else True


def test_a_clip_of_footage_that_was_cut_shorter_is_an_error(library, sweeps, tmp_path):
    late = [replace(sweeps[0], start_s=100.0, end_s=103.0)]
    with pytest.raises(MatlineError, match="no pictures"):
        write_reel(library, late, tmp_path / "reel.mp4", PLAIN, SETTINGS)
    assert not (tmp_path / "reel.mp4").exists()


def test_a_speed_of_nothing_is_refused(library, sweeps, tmp_path):
    with pytest.raises(MatlineError, match="speed"):
        write_reel(library, sweeps, tmp_path / "r.mp4", PLAIN, replace(SETTINGS, speed=0.0))


def test_the_film_is_h264_that_browsers_play(library, sweeps, tmp_path):
    path = write_reel(library, sweeps, tmp_path / "r.mp4", PLAIN, SETTINGS)
    data = path.read_bytes()
    assert data.index(b"moov") < data.index(b"mdat")  # starts before all of it is loaded
    with av.open(str(path)) as film:
        stream = film.streams.video[0]
        assert (stream.codec_context.name, stream.pix_fmt) == ("h264", "yuv420p")
        assert stream.time_base == Fraction(1, 90_000)
