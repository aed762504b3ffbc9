"""What samples look like: turned, square, whole; single pictures."""

from __future__ import annotations

import math
from fractions import Fraction

import av
import cv2
import numpy as np
import pytest

from pipeline.footage import Footage, FootageError, Orientation, read_picture
from tests.footage.recordings import every, make_video, number_in, numbered

UPRIGHT = numbered(5, 240, 136)
# ISO/IEC 14496-12, 6.2.2: a point p, q is shown at (a p + c q, b p + d q).
MATRICES = {
    "upright": ((1, 0, 0, 1), lambda image: image),
    "90 clockwise": ((0, 1, -1, 0), lambda image: np.rot90(image, -1)),
    "180": ((-1, 0, 0, -1), lambda image: np.rot90(image, 2)),
    "270 clockwise": ((0, -1, 1, 0), lambda image: np.rot90(image, 1)),
    "mirrored": ((-1, 0, 0, 1), np.fliplr),
    "upside down mirror": ((1, 0, 0, -1), np.flipud),
    "transposed": ((0, 1, 1, 0), lambda image: image.transpose(1, 0, 2)),
    "anti-transposed": ((0, -1, -1, 0), lambda image: np.rot90(image, 2).transpose(1, 0, 2)),
}


def matrix_bytes(a: int, b: int, c: int, d: int) -> bytes:
    one = 1 << 16
    return np.array([a * one, b * one, 0, c * one, d * one, 0, 0, 0, 1 << 30], np.int32).tobytes()


@pytest.mark.parametrize("name", MATRICES)
def test_a_display_matrix_moves_pixels_as_the_standard_says(name):
    numbers, by_hand = MATRICES[name]
    orientation = Orientation.from_matrix(matrix_bytes(*numbers))
    np.testing.assert_array_equal(orientation.apply(UPRIGHT), by_hand(UPRIGHT))
    height, width = by_hand(UPRIGHT).shape[:2]
    assert orientation.size(240, 136) == (width, height)


@pytest.mark.parametrize("degrees", [0, 90, 180, 270])
def test_a_phone_held_sideways_gives_an_upright_picture(tmp_path, degrees):
    path = make_video(tmp_path / "turned.mp4", every(3000, 12), rotation=-degrees)
    footage = Footage.open(path)
    frame = list(footage.frames(30))[5]
    turned = np.rot90(UPRIGHT, -(degrees // 90))  # clockwise
    assert footage.info.rotation == degrees
    assert frame.image.shape == turned.shape
    assert (footage.info.width, footage.info.height) == turned.shape[1::-1]
    assert np.abs(frame.image.astype(int) - turned).mean() < 6


def test_pixels_that_are_not_square_are_stretched(tmp_path):
    path = tmp_path / "wide.mkv"
    with av.open(str(path), "w") as out:
        stream = out.add_stream("libx264", rate=25)
        stream.width, stream.height, stream.pix_fmt = 180, 144, "yuv420p"
        stream.codec_context.sample_aspect_ratio = Fraction(16, 11)
        for index in range(5):
            frame = av.VideoFrame.from_ndarray(numbered(index, 180, 144), "rgb24")
            frame.pts, frame.time_base = index, Fraction(1, 25)
            out.mux(stream.encode(frame))
        out.mux(stream.encode(None))
    footage = Footage.open(path)
    assert (footage.info.width, footage.info.height) == (262, 144)
    assert next(footage.frames()).image.shape == (144, 262, 3)


def test_odd_sizes_keep_every_row_and_column(videos):
    frame = list(Footage.open(videos("odd.mkv")).frames(math.inf))[7]
    np.testing.assert_allclose(frame.image, numbered(7, 243, 137), atol=4)


def test_ten_bit_colour_comes_out_as_eight(videos):
    frame = next(Footage.open(videos("ten_bit.mp4")).frames())
    assert frame.image.dtype == np.uint8
    assert np.abs(frame.image.astype(int) - numbered(0, 240, 136)).mean() < 6


def test_a_scaled_sample_maps_back_to_source_pixels(videos):
    frame = next(Footage.open(videos("cfr.mp4")).frames(max_side=120))
    assert frame.image.shape == (68, 120, 3)
    assert number_in(frame.image) == 0
    keypoints = np.array([[60.0, 34.0, 0.9], [np.nan, np.nan, np.nan]], np.float32)
    source = frame.to_source(keypoints)
    np.testing.assert_allclose(source, [[120, 68, 0.9], [np.nan] * 3], rtol=1e-6)
    assert source.dtype == np.float32


def test_a_side_larger_than_the_picture_leaves_it_alone(videos):
    frame = next(Footage.open(videos("cfr.mp4")).frames(max_side=4000))
    assert frame.image.shape == (136, 240, 3)
    assert frame.scale == 1.0


@pytest.mark.parametrize(
    ("orientation", "by_hand"),
    [(1, "upright"), (3, "180"), (6, "90 clockwise"), (8, "270 clockwise"), (2, "mirrored")],
)
def test_a_picture_is_turned_as_its_exif_says(tmp_path, orientation, by_hand):
    # Exif 2.32, 4.6.4 A: orientation 6 = row 0 is the right side, that is 90° clockwise.
    path = tmp_path / "picture.jpg"
    data = cv2.imencode(".jpg", UPRIGHT[..., ::-1])[1].tobytes()
    entry = b"\x01\x12\x00\x03\x00\x00\x00\x01" + orientation.to_bytes(2, "big") + b"\x00\x00"
    exif = b"Exif\x00\x00MM\x00\x2a\x00\x00\x00\x08\x00\x01" + entry + b"\x00\x00\x00\x00"
    segment = b"\xff\xe1" + (len(exif) + 2).to_bytes(2, "big") + exif
    path.write_bytes(data[:2] + segment + data[2:])
    expected = MATRICES[by_hand][1](UPRIGHT)
    image = read_picture(path)
    assert image.shape == expected.shape
    assert np.abs(image.astype(int) - expected).mean() < 6


def test_something_that_is_no_picture_is_refused(tmp_path):
    path = tmp_path / "notes.png"
    path.write_text("not a picture")
    with pytest.raises(FootageError, match=r"notes\.png.*not a picture"):
        read_picture(path)
