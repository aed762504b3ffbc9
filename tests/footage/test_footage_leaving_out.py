"""Pictures that no sample needs are not decoded: time saved, and nothing else changed."""

from __future__ import annotations

import av
import numpy as np
import pytest

from pipeline.footage import Footage
from pipeline.footage import decoding as decoding_room
from pipeline.footage.units import starts_anew
from tests.footage.recordings import every, make_video


@pytest.fixture
def phone(tmp_path):
    """Return a recording as phones make them: a key frame a second, no reordering."""
    return make_video(tmp_path / "phone.mp4", every(3000, 150), options={"g": "30", "bf": "0"})


def left_out(monkeypatch, path, rate_hz):
    """Return the times of pictures that are not decoded, and the samples."""
    times = []
    needed = decoding_room.needed

    def noting(planned, clock, end_s):
        for one in needed(planned, clock, end_s):
            if one.left_out:
                times.append(clock.seconds(one.packet.pts))
            yield one

    monkeypatch.setattr(decoding_room, "needed", noting)
    return times, list(Footage.open(path).frames(rate_hz))


def test_pictures_between_the_last_sample_and_the_next_key_frame_are_not_decoded(
    monkeypatch, phone
):
    times, samples = left_out(monkeypatch, phone, 5.0)
    # Samples fall on every sixth picture and key frames on every thirtieth, so the last five of
    # each second are left out; behind the last second no key frame says that they could be.
    expected = [(30 * second + i) / 30 for second in range(4) for i in range(25, 30)]
    np.testing.assert_allclose(sorted(times), expected)
    assert len(samples) == 25


def test_leaving_pictures_out_changes_no_pixel_of_a_sample(monkeypatch, phone):
    _, samples = left_out(monkeypatch, phone, 5.0)
    every_picture = {f.time_s: f.image for f in Footage.open(phone).frames(np.inf)}
    for sample in samples:
        np.testing.assert_array_equal(sample.image, every_picture[sample.time_s])


def test_at_a_low_rate_whole_seconds_are_left_out_and_no_gap_is_made_up(monkeypatch, phone):
    times, samples = left_out(monkeypatch, phone, 0.5)
    assert len(times) > 80
    assert [f.time_s for f in samples] == [0, 2, 4]
    footage = Footage.open(phone)
    assert list(footage.frames(0.5))
    assert footage.gaps == ()


@pytest.mark.parametrize(
    ("name", "anew"),
    [
        ("cfr.mp4", "all"),
        ("vfr.mkv", "all"),
        ("offset.ts", "all"),
        ("open_gop.mp4", "all"),
        ("ten_bit.mp4", "all"),
        ("refresh.mp4", "first"),
        ("vfr.webm", "none"),
    ],
)
def test_a_key_frame_is_told_from_a_gradual_refresh(videos, name, anew):
    """By the standards' unit types; of other codecs than H.264 and HEVC nothing is claimed."""
    with av.open(str(videos(name))) as container:
        keys = [p for p in container.demux(video=0) if p.is_keyframe and p.size]
        found = [starts_anew(packet) for packet in keys]
    expected = {
        "all": [True] * len(keys),
        "first": [True] + [False] * (len(keys) - 1),
        "none": [False] * len(keys),
    }
    assert found == expected[anew]
    assert len(keys) > (anew == "first")
