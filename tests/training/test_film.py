"""Films: what a clip shows, and whether the truth beside it is the truth of that clip."""

import itertools
import json
from pathlib import Path
from types import SimpleNamespace

import av
import numpy as np
import pytest

pytest.importorskip("torch", reason="bouts are made with PyTorch: pip install .[training]")
pytest.importorskip("moderngl", reason="pictures are drawn with moderngl: .[training]")

from models.training.scenes.camera import Camera
from models.training.scenes.casting import matched
from models.training.scenes.film import SIZE, Clothing, _dress
from models.training.scenes.film_files import write_film, write_skeletons
from models.training.scenes.picture import Picture
from models.training.scenes.prints import drawn_prints

RATE_HZ = 12
COUNT = 25


def _picture(sample: int) -> Picture:
    """A picture whose keypoints all lie at (10 + sample, 20), the first hidden, the last out."""
    rgb = np.full((SIZE[1], SIZE[0], 3), 8 * sample, np.uint8)
    points = np.tile(np.array([10 + sample, 20], np.float32), (2, 17, 1))
    visible = np.full((2, 17), 2, np.int8)
    visible[:, 0], visible[:, -1] = 1, 0
    camera = Camera(np.zeros(3), np.ones(3), 0.0, 40.0, SIZE)
    nothing = np.zeros((0, 4), np.float32)
    return Picture(
        rgb, points, visible, np.zeros((2, 17, 3)), rgb[..., 0], nothing,
        None, True, camera, (None, None),
    )  # fmt: skip


@pytest.fixture(scope="module")
def filmed(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("film") / "clip.mp4"
    truth = write_film((_picture(n) for n in range(COUNT)), path, RATE_HZ)
    bout = SimpleNamespace(times=np.arange(COUNT) / RATE_HZ)
    write_skeletons(bout, truth, RATE_HZ, path)
    return path


def test_a_clip_has_every_picture_at_its_time(filmed):
    with av.open(str(filmed)) as container:  # the reference: FFmpeg's own decoder
        frames = list(container.decode(video=0))
    assert [f.time for f in frames] == pytest.approx(np.arange(COUNT) / RATE_HZ, abs=1e-4)
    grey = [float(f.to_ndarray(format="gray").mean()) for f in frames]
    assert np.all(np.diff(grey) > 0)
    assert [p.name for p in filmed.parent.iterdir() if "part" in p.name] == []


def test_true_skeletons_belong_to_the_pictures_they_are_said_to_be_of(filmed):
    pycocotools = pytest.importorskip("pycocotools.coco")  # the standard's own reader
    data = pycocotools.COCO(str(filmed.with_suffix(".keypoints.json")))
    images = data.loadImgs(data.getImgIds())
    assert len(images) == pytest.approx(5 * COUNT / RATE_HZ, abs=1)
    for image in images:
        sample = int(image["file_name"].split("#")[1])
        assert image["time_s"] == pytest.approx(sample / RATE_HZ)
        first, second = data.loadAnns(data.getAnnIds(imgIds=image["id"]))
        for person in (first, second):
            assert person["keypoints"][0:3] == [10 + sample, 20, 1]  # hidden
            assert person["keypoints"][3:6] == [10 + sample, 20, 2]  # visible
            assert person["keypoints"][-3:] == [0, 0, 0]  # not in the picture


def test_drawn_prints_are_the_same_for_everybody():
    first, again = drawn_prints(4, seed=3), drawn_prints(4, seed=3)
    assert np.array_equal(first.photos, again.photos)
    assert len({picture.tobytes() for picture in first.photos}) == 4
    assert first.backdrops == ()


def _person(gender: float, height: float, weight: float) -> SimpleNamespace:
    return SimpleNamespace(shape={"gender": gender, "height": height, "weight": weight})


def test_opponents_are_of_like_size_and_never_meet_themselves():
    people = [_person(g, h, w) for g in (0.0, 1.0) for h in (0.2, 0.8) for w in (0.3, 0.35)]
    for seed in range(20):
        drawn = matched(np.random.default_rng(seed), people, bouts=4)
        assert sorted(drawn) == list(range(8))
        for a, b in zip(drawn[::2], drawn[1::2], strict=True):
            assert people[a].shape["height"] == people[b].shape["height"]


def test_same_colour_gis_cannot_be_told_apart_by_cloth():
    studio = SimpleNamespace(
        figures=[SimpleNamespace(woman=False)] * 2, textures=SimpleNamespace(photos=[])
    )
    bout = SimpleNamespace(who=(0, 1))
    looks = _dress(np.random.default_rng(1), studio, bout, Clothing.GI_SAME)
    first, second = (look.main_colours() for look in looks)
    assert np.array_equal(first, second)
    assert all(look.gi for look in looks)
    plain = _dress(np.random.default_rng(1), studio, bout, Clothing.NO_GI)
    assert not any(look.gi for look in plain)


SAMPLES = Path(__file__).parents[2] / "sample_clips"


@pytest.mark.parametrize("clip", sorted(SAMPLES.glob("*.mp4")), ids=lambda p: p.stem)
def test_a_sample_clip_and_its_truth_cover_the_same_seconds(clip):
    from pipeline.outputs.tabular import segments_from_csv

    assert clip.stat().st_size <= 3e6
    with av.open(str(clip)) as container:
        stream = container.streams.video[0]
        assert (stream.width, stream.height) == SIZE
        times = [float(packet.pts * packet.time_base) for packet in container.demux(stream)
                 if packet.pts is not None]  # fmt: skip
    segments = segments_from_csv(clip.with_suffix(".csv").read_text(encoding="utf-8"))
    assert segments[0].start_s == 0
    assert segments[-1].end_s == pytest.approx(max(times), abs=0.2)
    assert all(a.end_s == b.start_s for a, b in itertools.pairwise(segments))
    images = json.loads(clip.with_suffix(".keypoints.json").read_text(encoding="utf-8"))["images"]
    sampled = np.array([image["time_s"] for image in images])
    assert np.abs(sampled[:, None] - np.array(times)).min(axis=1).max() < 1e-3
    assert np.diff(sampled).max() < 0.26
