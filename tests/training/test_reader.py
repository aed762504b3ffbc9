"""The training code of the pair reader: framing, targets and export agree with the runtime."""

import numpy as np
import pytest

torch = pytest.importorskip("torch", reason="needs the training extra (make training)")

from models.training.reader import augment, losses  # noqa: E402
from models.training.reader.network import CROP, STRIDE, PairReader  # noqa: E402
from pipeline.bodies.crops import Crop, cut, square_around  # noqa: E402
from pipeline.bodies.look import Region  # noqa: E402
from pipeline.bodies.pair import decode  # noqa: E402

SIZE = 320


def dotted_pair(seed: int = 0):
    """A black picture with one white dot at each keypoint: the truth can be seen in it."""
    rng = np.random.default_rng(seed)
    points = rng.uniform(90, 230, (1, 2, 17, 2)).astype(np.float32)
    image = np.zeros((SIZE, SIZE, 3), np.uint8)
    yy, xx = np.mgrid[:SIZE, :SIZE] + 0.5
    for x, y in points.reshape(-1, 2):
        near = (xx - x) ** 2 + (yy - y) ** 2 < 3.0**2
        image[near] = 255
    return image, points


def as_tensors(image, points):
    return (
        torch.from_numpy(image).permute(2, 0, 1)[None],
        torch.zeros(1, SIZE // 2, SIZE // 2, dtype=torch.uint8),
        torch.from_numpy(points),
        torch.full((1, 2, 17), 2),
    )


def brightness_at(image: np.ndarray, points: np.ndarray) -> np.ndarray:
    """Brightest value within a pixel of each point."""
    values = []
    for x, y in points:
        x0, y0 = max(int(x) - 1, 0), max(int(y) - 1, 0)
        values.append(image[y0 : y0 + 3, x0 : x0 + 3].max())
    return np.array(values)


def test_plain_framing_keeps_keypoints_on_the_picture():
    image, points = dotted_pair()
    batch = augment.plain_batch(*as_tensors(image, points))
    shown = (batch.image[0].permute(1, 2, 0).numpy() + 1) / 2
    assert (brightness_at(shown, batch.keypoints[0].reshape(-1, 2).numpy()) > 0.6).all()


def test_random_framing_keeps_keypoints_on_the_picture_and_exchanges_left_and_right():
    image, points = dotted_pair(1)
    x, labels, keypoints, visible = as_tensors(image, points)
    torch.manual_seed(3)
    mirrored = 0
    for _ in range(12):
        framing = augment.random_framing(keypoints, visible)
        batch = augment.take(x.float() / 255, labels, keypoints, visible, framing)
        shown = batch.image[0].permute(1, 2, 0).numpy()
        inside = (batch.visible[0] > 0).reshape(-1).numpy()
        at = batch.keypoints[0].reshape(-1, 2).numpy()[inside]
        assert (brightness_at(shown, at) > 0.3).mean() > 0.95
        mirrored += int(framing.mirror[0] < 0)
    assert 0 < mirrored < 12


def test_crop_of_the_runtime_is_the_crop_of_the_training():
    image, points = dotted_pair(2)
    low, high = points.reshape(-1, 2).min(0), points.reshape(-1, 2).max(0)
    crop = square_around(Region(*low, *high))
    runtime = cut(image, crop, CROP).astype(float) / 255
    batch = augment.plain_batch(*as_tensors(image, points))
    trained = (batch.image[0].permute(1, 2, 0).numpy() + 1) / 2
    assert np.abs(runtime - trained).mean() < 0.01


def test_cut_scales_large_crops_without_moving_them():
    image = np.zeros((1000, 1400, 3), np.uint8)
    image[490:511, 690:711] = 255
    small = cut(image, Crop(200.0, 0.0, 1000.0), 250)
    yy, xx = np.nonzero(small[..., 0] > 128)
    assert xx.mean() + 0.5 == pytest.approx((700.5 - 200) / 4, abs=0.5)
    assert yy.mean() + 0.5 == pytest.approx(500.5 / 4, abs=0.5)


def test_other_texture_keeps_shapes_where_they_are_and_leaves_the_other_pictures_alone():
    torch.manual_seed(2)
    np.random.seed(2)
    image = 0.4 + 0.05 * torch.rand(8, 3, CROP, CROP)
    image[:, :, 64:192, 64:192] += 0.3
    other = augment.restyle(image, 0.5)
    assert torch.equal(other[4:], image[4:])
    assert (other[:4] - image[:4]).abs().mean() > 0.01
    edge, flat = other[:4, :, 32:224, 52:76], other[:4, :, 100:156, 100:156]
    assert edge.std((2, 3)).amax(1).min() > 2 * flat.std((2, 3)).amax(1).max()
    assert torch.equal(augment.restyle(image, 0.0), image)


def test_runtime_decodes_the_targets_of_the_training():
    _, points = dotted_pair(4)
    visible = torch.full((1, 2, 17), 2)
    points = torch.from_numpy(points * (CROP / SIZE))
    maps = losses.peaks(points, visible)[0].reshape(34, CROP // STRIDE, CROP // STRIDE)
    decoded, peak = decode(maps.numpy())
    assert np.abs(decoded - points.reshape(34, 2).numpy()).max() < STRIDE * 0.3
    assert (peak > 0.9).all()


def test_loss_does_not_care_which_slot_holds_which_athlete():
    torch.manual_seed(0)
    out = PairReader()(torch.randn(2, 3, CROP, CROP))
    batch = augment.Batch(
        torch.zeros(2, 3, CROP, CROP),
        torch.rand(2, 2, 17, 2) * CROP,
        torch.full((2, 2, 17), 2),
        torch.rand(2, 2, 64, 64).round(),
    )
    truth = losses.Truth(torch.tensor([1, 2]), torch.tensor([0, 1]))
    exchanged, other = losses.exchange_slots(batch, truth, torch.tensor([True, True]))
    one = losses.pair_loss(out, batch, truth, fixed=False)
    two = losses.pair_loss(out, exchanged, other, fixed=False)
    assert float(one.total.detach()) == pytest.approx(float(two.total.detach()), rel=1e-5)


def test_finder_boxes_follow_the_moved_picture():
    from models.training.reader.data import Frames
    from models.training.reader.find import _move

    image = torch.zeros(1, 3, SIZE, SIZE, dtype=torch.uint8)
    image[:, :, 100:140, 60:180] = 255
    frames = Frames(
        image,
        torch.tensor([[60.0, 100.0, 180.0, 140.0]]),
        torch.ones(1),
        torch.full((1, 6, 4), torch.nan),
    )
    torch.manual_seed(5)
    for _ in range(8):
        moved, pair, _ = _move(frames, torch.zeros(1, dtype=torch.long))
        bright = (moved[0, 0] > 0.5).nonzero().float()
        if not len(bright) or pair.min() < 2 or pair.max() > SIZE - 2:
            continue
        (y0, x0), (y1, x1) = bright.amin(0), bright.amax(0) + 1
        assert torch.allclose(pair[0], torch.stack([x0, y0, x1, y1]), atol=1.5)


def test_the_exported_network_says_what_the_trained_one_says(tmp_path):
    from models.training.reader.export import trained_reader, write_reader
    from models.training.reader.weights_file import load_weights, save_weights
    from pipeline.bodies.network import Network

    torch.manual_seed(0)
    save_weights(
        PairReader(fine_layers=2), tmp_path / "weights.npz", {"recipe": {"fine_layers": 2}}
    )
    write_reader(*trained_reader(tmp_path / "weights.npz"), tmp_path / "net.onnx", (2.0, -1.0))
    picture = np.random.default_rng(0).integers(0, 255, (CROP, CROP, 3), dtype=np.uint8)
    runtime = Network(tmp_path / "net.onnx", threads=1)
    said = runtime.run([picture])[0]
    trained = PairReader(fine_layers=2).eval()
    load_weights(trained, tmp_path / "weights.npz")
    with torch.no_grad():
        out = trained(torch.from_numpy(picture).permute(2, 0, 1)[None].float() * (2 / 255) - 1)
    assert set(said) == {"heatmaps", "masks", "visible", "positions", "top"}
    for name, values in said.items():
        assert np.abs(values - getattr(out, name).numpy()).max() < 1e-3
    assert runtime.metadata["confidence"] == [2.0, -1.0]


def test_fitted_confidence_is_how_often_a_point_is_right():
    from models.training.reader.export import fit_confidence

    rng = np.random.default_rng(0)
    logit = rng.normal(0, 2, 20_000)
    right = rng.random(len(logit)) < 1 / (1 + np.exp(-(0.5 * logit + 1.0)))
    slope, offset = fit_confidence(1 / (1 + np.exp(-logit)), right)
    assert slope == pytest.approx(0.5, abs=0.05)
    assert offset == pytest.approx(1.0, abs=0.05)


@pytest.mark.parametrize("name", ["pair_reader", "pair_finder"])
def test_training_goes_on_from_what_the_package_ships(name):
    from models.training.reader.network import PairFinder
    from models.training.reader.start import load_exported
    from pipeline.bodies.network import Network
    from pipeline.bodies.pair import weights_path

    net = PairReader() if name == "pair_reader" else PairFinder()
    shipped = Network(weights_path(f"{name}.onnx"), threads=1)
    pictures = np.random.default_rng(2).integers(
        0, 255, (4, shipped.size, shipped.size, 3), dtype=np.uint8
    )
    batch = torch.from_numpy(pictures).permute(0, 3, 1, 2).float() / 127.5 - 1
    load_exported(net, weights_path(f"{name}.onnx"), batch)
    net.eval()
    with torch.no_grad():
        out = net(batch)
    said = (out.heatmaps if name == "pair_reader" else out)[1].numpy()
    told = shipped.run([pictures[1]])[0]["heatmaps" if name == "pair_reader" else "maps"][0]
    assert np.abs(said - told).max() < 1e-3


def test_an_average_says_at_its_ends_what_either_network_says(tmp_path):
    from models.training.reader.average import averaged
    from models.training.reader.weights_file import save_weights
    from pipeline.bodies.network import Network
    from pipeline.bodies.pair import weights_path

    torch.manual_seed(3)
    shipped = weights_path("pair_reader.onnx")
    layers = Network(shipped, threads=1).metadata["training"]["recipe"]["fine_layers"]
    net = PairReader(fine_layers=layers)
    save_weights(net, tmp_path / "weights.npz", {"recipe": {"fine_layers": layers}})
    picture = np.random.default_rng(5).integers(0, 255, (CROP, CROP, 3), dtype=np.uint8)
    batch = torch.from_numpy(picture).permute(2, 0, 1)[None].float() / 127.5 - 1
    told = Network(shipped, threads=1).run([picture])[0]["heatmaps"][0]
    with torch.no_grad():
        begun, _ = averaged(shipped, tmp_path / "weights.npz", 0.0)
        come_to, facts = averaged(shipped, tmp_path / "weights.npz", 1.0)
        assert np.abs(begun(batch).heatmaps[0].numpy() - told).max() < 2e-3
        trained = net.eval()(batch).heatmaps[0].numpy()
        assert np.abs(come_to(batch).heatmaps[0].numpy() - trained).max() < 2e-2  # kept as float16
    assert facts["averaged"]["with"] == "pair_reader.onnx"
    assert facts["averaged"]["training"]["pictures"] > 1_000_000, (
        "what it is a mean of is on record"
    )


def test_training_goes_on_where_it_was_stopped(tmp_path, draw, capsys):
    from models.training.reader.train import Recipe, Training
    from models.training.reader.weights_file import load_weights
    from models.training.scenes.shards import ShardWriter

    (tmp_path / "shards").mkdir()
    with ShardWriter(tmp_path / "shards", ["standing test"]) as writer:
        for picture, quality in draw(6):
            writer.append(picture, quality)

    def train(minutes):
        recipe = Recipe(
            minutes=minutes, batch=2, first_crops=4, capacity=8, fine_layers=1, restyled=0.5
        )
        Training(recipe, tmp_path / "shards", tmp_path / "shards", None, tmp_path / "out").run()
        return load_weights(PairReader(fine_layers=1), tmp_path / "out" / "pair_reader.npz")

    first = train(0.01)
    assert first["steps"] >= 1
    assert first["crops"] == 6
    assert set(first["held_out"]) == {"visible", "hidden", "swapped", "position", "top"}
    capsys.readouterr()
    second = train(first["seconds"] / 60 + 0.1)
    assert second["steps"] > first["steps"]
    assert f"going on at step {first['steps']} " in capsys.readouterr().out
