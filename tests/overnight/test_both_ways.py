"""Who the pair is, is settled by what comes later too: a bystander at the start is no athlete."""

from dataclasses import replace
from fractions import Fraction
from itertools import combinations
from pathlib import Path

import av
import numpy as np
import pytest

from pipeline.athletes import Athletes, Tracks
from pipeline.bodies import Body, Look, Region, make_reader
from pipeline.bodies.readers import pair_weights_are_there
from pipeline.footage import Footage
from pipeline.overnight.chunk import Chunk, ChunkReading, read_chunk
from pipeline.overnight.samples import sample_clip
from pipeline.overnight.store import ChunkStore
from pipeline.settings import Settings
from tests.learning.corrector import Truth
from tests.overnight.figures import STICK

SETTINGS = Settings()
RED, BLUE, GREEN = (220, 40, 40), (40, 60, 220), (40, 200, 60)


def places(time_s: float) -> dict[tuple[int, int, int], float]:
    """Where red and green stand, and blue, who comes from the far side to red."""
    return {RED: 92, BLUE: float(np.interp(time_s, [2, 4], [30, 82])), GREEN: 136}


def film(path: Path, seconds: float = 7) -> Path:
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=10)
        stream.width, stream.height, stream.pix_fmt = 160, 96, "yuv420p"
        stream.codec_context.time_base = Fraction(1, 10)
        stream.options = {"preset": "ultrafast", "crf": "12"}
        for number in range(round(seconds * 10)):
            image = np.full((96, 160, 3), 120, np.uint8)
            for colour, x in places(number / 10).items():
                image[34:62, round(x) - 4 : round(x) + 4] = colour
            frame = av.VideoFrame.from_ndarray(image, format="rgb24")
            frame.pts = number
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
    return path


class NearestTwo:
    """Says of the two who stand nearest to each other that they are the pair, and is sure."""

    name = "nearest"

    def read(self, image: np.ndarray, region: Region | None = None, mat: object = None) -> Look:
        """Read the pair in the region, as soon as two are there; else anywhere."""
        strongest = image.argmax(axis=2)
        coloured = image.max(axis=2).astype(int) - image.min(axis=2) > 80
        found = [
            np.argwhere(coloured & (strongest == channel)).mean(axis=0) for channel in range(3)
        ]
        near = [at for at in found if region and _within(at[1], region)]
        two = min(
            combinations(near if len(near) > 1 else found, 2), key=lambda p: abs(p[0][1] - p[1][1])
        )
        bodies = tuple(Body(_figure(at), 0.9) for at in two)
        points = np.concatenate([body.keypoints[:, :2] for body in bodies])
        return Look(bodies, Region(*points.min(axis=0), *points.max(axis=0)), pair=True)


def _within(x: float, region: Region) -> bool:
    side = 1.25 * max(region.size)
    return abs(x - (region.x0 + region.x1) / 2) < side / 2


def _figure(at: np.ndarray) -> np.ndarray:
    keypoints = np.full((17, 3), 0.9, np.float32)
    keypoints[:, :2] = STICK + at[::-1]
    return keypoints


@pytest.fixture(scope="module")
def reading(tmp_path_factory) -> ChunkReading:
    clip = film(tmp_path_factory.mktemp("clips") / "three.mp4")
    return read_chunk(Footage.open(clip), Chunk(0, np.inf), NearestTwo(), SETTINGS)


def tracks(reading: ChunkReading) -> Tracks:
    athletes = Athletes(SETTINGS.athletes)
    for people in reading.people:
        athletes.add(people)
    return athletes.result()


def test_who_stands_nearest_at_the_start_is_no_athlete_if_another_takes_hold_later(reading):
    read = tracks(reading)
    middle = read.keypoints[..., 0].mean(axis=2)
    blue = np.array([places(t)[BLUE] for t in read.times])
    np.testing.assert_allclose(np.sort(middle, axis=1)[:, 0], blue, atol=4)
    np.testing.assert_allclose(np.sort(middle, axis=1)[:, 1], 92, atol=4)


def test_a_second_reading_of_someone_else_does_not_win_over_the_athletes(reading):
    """Looking back from a moment at which the reader errs gives a wrong second reading."""
    turned = [p if p.other is None else replace(p.other, other=replace(p, other=None)) for p in
              reading.people]  # fmt: skip
    np.testing.assert_array_equal(
        tracks(ChunkReading(tuple(turned))).keypoints[:, :, 5, 0].max(axis=1),
        tracks(reading).keypoints[:, :, 5, 0].max(axis=1),
    )


def test_a_second_reading_is_kept_with_the_first(reading, tmp_path):
    assert any(people.other for people in reading.people)
    store, chunk = ChunkStore(tmp_path, "content", "how"), Chunk(0, 7)
    store.save(chunk, reading)
    loaded = store.load(chunk)
    assert loaded is not None
    np.testing.assert_array_equal(tracks(loaded).keypoints, tracks(reading).keypoints)


def test_looking_back_leaves_each_gap_once(tmp_path):
    clip = film(tmp_path / "three.mp4")
    footage = Footage.open(clip)
    read_chunk(footage, Chunk(0, np.inf), NearestTwo(), SETTINGS)
    assert footage.gaps == ()


@pytest.mark.skipif(not pair_weights_are_there(), reason="the pair reader's weights are missing")
def test_the_demo_starts_with_skeletons_on_its_two_athletes():
    film = sample_clip()
    truth = Truth.beside(film)
    assert truth is not None
    read = tracks(read_chunk(Footage.open(film), Chunk(0, 5), make_reader("pair"), SETTINGS))
    true = truth.keypoints[np.abs(read.times[:, None] - truth.times).argmin(axis=1)]
    apart = np.linalg.norm(read.keypoints[:, :, None, :, :2] - true[:, None], axis=-1)
    off = np.median(apart[read.times < 2.2], axis=3)  # pixels; the bystander is 300 off
    straight, crossed = off[:, (0, 1), (0, 1)].max(), off[:, (0, 1), (1, 0)].max()
    assert min(straight, crossed) < 25
