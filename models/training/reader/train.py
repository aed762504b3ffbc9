"""Training of the pair reader, on one GPU or several of one host, while pictures still arrive."""

from __future__ import annotations

import math
import os
import platform
import time
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
import torch
import torch.distributed as dist
from torch import Tensor, nn
from torch.nn.parallel import DistributedDataParallel
from torch.optim.swa_utils import AveragedModel, get_ema_multi_avg_fn

from models.training.reader.augment import Augment
from models.training.reader.data import STORED, Store
from models.training.reader.losses import Parts, Truth, pair_loss
from models.training.reader.measure import measure
from models.training.reader.network import PairReader
from models.training.reader.start import exported_file, start_from
from models.training.reader.weights_file import save_weights
from models.training.scenes.textures import load_textures


@dataclass(frozen=True)
class Recipe:
    """Everything that decides a training run; recorded beside the weights.

    Attributes
    ----------
    minutes : float
        Wall time to train for; the learning rate falls to nothing at its end.
    until : float or None
        Unix time to be done by, instead; for a machine that is there for so long only.
    batch : int
        Pictures a step and a process.
    backbone_rate, head_rate : float
        Peak learning rates; the published backbone moves slower than the new layers.
    ordered_steps : int
        Steps with the slots in a fixed order, before the loss may choose; none where training goes
        on from an exported network.
    first_crops : int
        Crops to have before the first step.
    capacity : int
        Crops kept on each GPU.
    fine_layers : int
        Attention layers at stride 16.
    hidden_weight : float
        Weight of a hidden keypoint beside a visible one.
    restyled : float
        Share of pictures whose texture a random convolution changes.
    compiled : bool
        Compile network, loss and augmentation; on a GPU only.
    """

    minutes: float = 12.0
    until: float | None = None
    batch: int = 256
    backbone_rate: float = 4e-4
    head_rate: float = 2.5e-3
    weight_decay: float = 1e-2
    ordered_steps: int = 1500
    warmup_steps: int = 200
    average: float = 0.998
    first_crops: int = 4000
    capacity: int = 90_000
    seed: int = 1
    fine_layers: int = 4
    hidden_weight: float = 0.5
    restyled: float = 0.0
    compiled: bool = True


class Process:
    """Which GPU this process has, among how many."""

    def __init__(self) -> None:
        self.rank = int(os.environ.get("RANK", "0"))
        self.count = int(os.environ.get("WORLD_SIZE", "1"))
        self.device = torch.device("cpu")
        if torch.cuda.is_available():
            local = int(os.environ.get("LOCAL_RANK", "0"))
            self.device = torch.device("cuda", local)
            torch.cuda.set_device(self.device)
        if self.count > 1:
            dist.init_process_group("nccl" if self.device.type == "cuda" else "gloo")

    @property
    def first(self) -> bool:
        """Whether this process reports and saves."""
        return self.rank == 0

    def agree(self, value: float) -> float:
        """Return the first process's value in all of them."""
        if self.count == 1:
            return value
        box = torch.tensor([value], dtype=torch.float64, device=self.device)
        dist.broadcast(box, 0)
        return float(box)


def _optimizer(net: PairReader, recipe: Recipe) -> torch.optim.Optimizer:
    backbone = {id(p) for p in net.backbone.parameters()}
    groups = [
        {"params": list(net.backbone.parameters()), "peak": recipe.backbone_rate},
        {
            "params": [p for p in net.parameters() if id(p) not in backbone],
            "peak": recipe.head_rate,
        },
    ]
    fused = next(net.parameters()).is_cuda
    return torch.optim.AdamW(groups, lr=1e-3, weight_decay=recipe.weight_decay, fused=fused)


def _set_rate(optimizer: torch.optim.Optimizer, step: int, share: float, recipe: Recipe) -> None:
    factor = min(1.0, (step + 1) / recipe.warmup_steps)
    factor *= 0.5 * (1 + math.cos(math.pi * min(share, 1.0))) + 0.005
    for group in optimizer.param_groups:
        group["lr"] = group["peak"] * factor


def _photo_bank(path: Path | None, device: torch.device) -> Tensor | None:
    """Photographs of a file of textures, (P, 3, H, W) uint8."""
    if path is None:
        return None
    photos = load_textures(path).photos.transpose(0, 3, 1, 2)
    return torch.from_numpy(np.ascontiguousarray(photos)).to(device)


class Training:
    """One run: `run` trains to the end of the recipe's time, saving as it goes."""

    def __init__(
        self,
        recipe: Recipe,
        shards: Path,
        held_out: Path,
        initial: Path | None,
        out: Path,
        photos: Path | None = None,
    ) -> None:
        self.recipe, self.out, self.initial = recipe, out, initial
        out.mkdir(parents=True, exist_ok=True)
        self.process = Process()
        torch.manual_seed(recipe.seed)
        np.random.seed(recipe.seed + self.process.rank)
        torch.backends.cudnn.benchmark = True
        torch.set_float32_matmul_precision("high")
        device = self.process.device
        net = PairReader(fine_layers=recipe.fine_layers)
        self.net = net.to(device).to(memory_format=torch.channels_last)  # type: ignore[call-overload]
        self.average = AveragedModel(
            self.net, multi_avg_fn=get_ema_multi_avg_fn(recipe.average), use_buffers=True
        )
        self.optimizer = _optimizer(self.net, recipe)
        self.step, self.spent_s = 0, 0.0
        compiled = recipe.compiled and device.type == "cuda"
        self.augment = Augment(_photo_bank(photos, device), compiled, recipe.restyled)
        self.loss = torch.compile(pair_loss, dynamic=False) if compiled else pair_loss
        if compiled:
            self._warm_up()
        self._resume()
        torch.manual_seed(recipe.seed + 1000 * (self.process.rank + 1))
        self.store = Store(
            shards, device, recipe.capacity, self.process.rank, self.process.count, 13
        )
        self.held_out = Store(held_out, device, 7000)

    def run(self, first_wait_s: float = 600.0, after: Path | None = None) -> dict[str, float]:
        """Train; return the last measurement.

        Parameters
        ----------
        first_wait_s : float
            How long to wait for the first crops.
        after : Path, optional
            Take in crops but don't begin before this file is there.
        """
        recipe, process = self.recipe, self.process
        self.store.watch()
        while after is not None and not after.exists():
            time.sleep(1.0)
        self.store.wait_for(recipe.first_crops, first_wait_s)
        ordered_steps = recipe.ordered_steps
        if self.initial is not None:
            if self.step == 0:
                start_from(self.net, self.initial, self._sample)
            if exported_file(self.net, self.initial):  # it has chosen its slots already
                ordered_steps = 0
        model: nn.Module = self.net
        if process.count > 1:
            ids = [process.device.index] if process.device.type == "cuda" else None
            model = DistributedDataParallel(self.net, device_ids=ids)
        model.train()
        whole_s, begun = recipe.minutes * 60, time.monotonic() - self.spent_s
        if recipe.until is not None:
            whole_s = self.spent_s + recipe.until - time.time()
        saved_s = -math.inf  # what training starts from is measured too
        share = 0.0
        while share < 1:
            if self.step % 10 == 0:
                share = process.agree((time.monotonic() - begun) / whole_s)
            _set_rate(self.optimizer, self.step, share, recipe)
            self._one_step(model, fixed=self.step < ordered_steps)
            self.spent_s = time.monotonic() - begun
            if process.first and self.spent_s - saved_s > 120:
                saved_s = self.spent_s
                self._report()
                self._save()
        self.store.stop()
        figures = self._report() if process.first else {}
        if process.first:
            self._save()
        if process.count > 1:
            dist.barrier()
            dist.destroy_process_group()
        return figures

    def _warm_up(self) -> None:
        """Compile everything on empty crops, so that the run's time goes to training."""
        torch._dynamo.config.suppress_errors = True  # then it runs uncompiled
        torch._dynamo.config.optimize_ddp = False  # 20 MB of gradients are quickly sent
        self.net.compile(dynamic=False)
        n, half = self.recipe.batch, STORED // 2

        def empty(*shape: int, dtype: torch.dtype = torch.uint8) -> Tensor:
            return torch.zeros(shape, dtype=dtype, device=self.process.device)

        crops = empty(n, 3, STORED, STORED), empty(n, half, half)
        points = torch.rand(n, 2, 17, 2, device=self.process.device) * STORED
        known = empty(n, dtype=torch.long)
        kept = {k: v.clone() for k, v in self.net.state_dict().items()}
        for fixed in (True, False):
            visible = torch.full((n, 2, 17), 2, device=self.process.device)
            parts = self._look(self.net, (*crops, points, visible), Truth(known, known), fixed)
            parts.total.backward()
        self.optimizer.zero_grad(set_to_none=True)
        self.net.load_state_dict(kept)

    def _look(
        self, model: nn.Module, crops: tuple[Tensor, Tensor, Tensor, Tensor], truth: Truth,
        fixed: bool,
    ) -> Parts:  # fmt: skip
        """Augment crops, read them, and say how wrong that is."""
        device = self.process.device
        batch = self.augment(*crops)
        with torch.autocast(device.type, torch.bfloat16, device.type == "cuda"):
            out = model(batch.image.contiguous(memory_format=torch.channels_last))
        return self.loss(out, batch, truth, fixed, self.recipe.hidden_weight)

    def _crops(self, pick: Tensor) -> tuple[Tensor, Tensor, Tensor, Tensor]:
        store = self.store
        return (
            store.image[pick], store.labels[pick], store.keypoints[pick],
            store.visible[pick].long(),
        )  # fmt: skip

    def _sample(self) -> Tensor:
        pick = torch.randint(self.store.count, (256,), device=self.process.device)
        return self.augment(*self._crops(pick)).image

    def _one_step(self, model: nn.Module, fixed: bool) -> None:
        store, recipe, device = self.store, self.recipe, self.process.device
        pick = torch.randint(store.count, (recipe.batch,), device=device)
        truth = Truth(store.position[pick].long(), store.top[pick].long())
        parts = self._look(model, self._crops(pick), truth, fixed)
        self.optimizer.zero_grad(set_to_none=True)
        parts.total.backward()
        nn.utils.clip_grad_norm_(self.net.parameters(), 5.0)
        self.optimizer.step()
        self.average.update_parameters(self.net)
        self.step += 1
        if self.process.first and self.step % 250 == 0:
            rate = self.step * recipe.batch * self.process.count / max(self.spent_s, 1e-6)
            print(
                f"step {self.step}  {self.spent_s:.0f} s  crops {store.count}  "
                f"{rate:.0f} pictures/s  loss {float(parts.total):.4f}  "
                f"heat {float(parts.heat):.4f}  mask {float(parts.mask):.3f}  "
                f"position {float(parts.position):.3f}  top {float(parts.top):.3f}  "
                f"exchanged {float(parts.exchanged.float().mean()):.3f}",
                flush=True,
            )

    def _report(self) -> dict[str, float]:
        self.held_out.take_new()
        net = self.average.module
        figures = measure(net, self.held_out) if self.held_out.count else {}
        known = measure(net, self.store, most=2000)
        print(f"held out after {self.spent_s:.0f} s, step {self.step}: {figures}", flush=True)
        print(f"  the same on pictures trained on: {known}", flush=True)
        facts = {
            "recipe": asdict(self.recipe),
            "steps": self.step,
            "seconds": round(self.spent_s),
            "pictures": self.step * self.recipe.batch * self.process.count,
            "crops": self.store.count * self.process.count,
            "held_out": figures,
            "trained_on": known,
            "torch": torch.__version__,
            "python": platform.python_version(),
            "device": torch.cuda.get_device_name() if torch.cuda.is_available() else "cpu",
            "processes": self.process.count,
        }
        save_weights(self.average.module, self.out / "pair_reader.npz", facts)
        return figures

    def _save(self) -> None:
        """Write a checkpoint to go on from."""
        path = self.out / "checkpoint.pt"
        temporary = path.with_suffix(".part")
        state = {
            "net": self.net.state_dict(),
            "average": self.average.state_dict(),
            "optimizer": self.optimizer.state_dict(),
            "step": self.step,
            "spent_s": self.spent_s,
        }
        torch.save(state, temporary)
        temporary.replace(path)

    def _resume(self) -> None:
        path = self.out / "checkpoint.pt"
        if not path.is_file():
            return
        state = torch.load(path, map_location=self.process.device, weights_only=True)
        self.net.load_state_dict(state["net"])
        self.average.load_state_dict(state["average"])
        self.optimizer.load_state_dict(state["optimizer"])
        self.step, self.spent_s = state["step"], state["spent_s"]
        if self.process.first:
            print(f"going on at step {self.step} after {self.spent_s:.0f} s", flush=True)
