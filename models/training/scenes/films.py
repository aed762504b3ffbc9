"""Many films at once, on a machine with GPUs that lacks most of what the project needs.

Pictures become H.264 where PyAV is there, else one archive of WebP files a film.
"""

from __future__ import annotations

import json
import multiprocessing as mp
import os
import tarfile
import zipfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import cv2
import numpy as np

from .arrays_file import write_arrays
from .body import load_cast
from .film import SIZE, Clothing, Filming, film
from .picture import Picture, Studio
from .played import Played
from .prints import drawn_prints
from .textures import load_textures

CRF = 27
"""x264's constant rate factor, as phones' small files have it: 4 to 8 kB a picture."""
WEBP_QUALITY = 45
SPECTATORS = 16


@dataclass(frozen=True)
class FilmOrder:
    """One film to be made.

    Attributes
    ----------
    name : str
        Of the bout's file, and of what is written.
    cast : str
        File of the cast, from the folder of the bouts.
    seed : int
        Of clothing, hall and camera.
    clothing : str or None
    lens_m : (float, float)
    referee : bool
    next_mat : str or None
        Name of the bout that goes on behind.
    """

    name: str
    cast: str
    seed: int = 0
    clothing: str | None = None
    lens_m: tuple[float, float] = (0.3, 3.0)
    referee: bool = False
    next_mat: str | None = None


def read_orders(path: Path) -> list[FilmOrder]:
    """Read a JSON list of orders."""
    rows = json.loads(path.read_text(encoding="utf-8"))
    return [FilmOrder(**(row | {"lens_m": tuple(row.get("lens_m", (0.3, 3.0)))})) for row in rows]


def film_all(
    bouts: Path,
    out: Path,
    orders: Sequence[FilmOrder],
    workers: int = 1,
    devices: int = 0,
    textures: Path | None = None,
    pictures: int | None = None,
) -> Iterator[str]:
    """Film bouts, several at a time; films that are there already are kept.

    A bout that isn't there is passed over.

    Parameters
    ----------
    bouts : Path
        Folder of `Played` files.
    out : Path
    orders : sequence of FilmOrder
    workers, devices : int
        Processes, and the GPUs that they share (0: whatever EGL offers first).
    textures : Path, optional
    pictures : int, optional
        Of each film at most, for a try.

    Yields
    ------
    str
        A line for each film that is done.
    """
    out.mkdir(parents=True, exist_ok=True)
    for library in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ.setdefault(library, "1")
    if not orders:
        return
    there = [order for order in orders if (bouts / f"{order.name}.npz").exists()]
    jobs = [(bouts, out, order, devices, textures, pictures) for order in there]
    if workers == 1:
        yield from map(_job, jobs)
        return
    spawn = mp.get_context("spawn")  # OpenGL contexts do not survive a fork
    with spawn.Pool(workers) as pool:
        yield from pool.imap_unordered(_job, jobs)


@cache
def _studio(cast: Path, textures: Path | None, device: int | None) -> Studio:
    cv2.setNumThreads(1)
    prints = load_textures(textures) if textures else drawn_prints()
    return Studio(load_cast(cast), prints, device, spectators=SPECTATORS)


def _job(job: tuple[Path, Path, FilmOrder, int, Path | None, int | None]) -> str:
    bouts, out, order, devices, textures, pictures = job
    done = out / f"{order.name}.truth.npz"
    if done.exists():
        return f"{order.name}: kept"
    worker = (mp.current_process()._identity or (0,))[-1]
    studio = _studio(bouts / order.cast, textures, worker % devices if devices else None)
    played = Played.load(bouts / f"{order.name}.npz")
    behind = Played.load(bouts / f"{order.next_mat}.npz") if order.next_mat else None
    worn = Clothing(order.clothing) if order.clothing else None
    filming = Filming(order.seed, order.referee, behind, worn, order.lens_m)
    shots = film(studio, played, filming)
    if pictures is not None:
        shots = (shot for _, shot in zip(range(pictures), shots, strict=False))
    rate_hz = round(1 / float(np.median(np.diff(played.times))), 3)
    path, truth = _write(shots, out / order.name, rate_hz)
    _write_truth(done, played, truth)
    return f"{order.name}: {len(truth)} pictures, {path.stat().st_size / 1e6:.2f} MB"


def _write(shots: Iterator[Picture], stem: Path, rate_hz: float) -> tuple[Path, list[Picture]]:
    try:
        import av  # noqa: F401
    except ImportError:
        return _write_stills(shots, stem)
    return _write_h264(shots, stem.with_suffix(".mp4"), rate_hz)


def _write_stills(shots: Iterator[Picture], stem: Path) -> tuple[Path, list[Picture]]:
    path = stem.with_suffix(".zip")
    truth, quality = [], [cv2.IMWRITE_WEBP_QUALITY, WEBP_QUALITY]
    with zipfile.ZipFile(path, "w", zipfile.ZIP_STORED) as archive:
        for n, shot in enumerate(shots):
            coded = cv2.imencode(".webp", shot.rgb[..., ::-1], quality)[1]
            archive.writestr(f"{n:05d}.webp", coded.tobytes())
            truth.append(shot)
    return path, truth


def _write_h264(shots: Iterator[Picture], path: Path, rate_hz: float) -> tuple[Path, list[Picture]]:
    import av

    truth = []
    with av.open(str(path), "w", format="mp4") as container:
        stream = container.add_stream("libx264", rate=round(rate_hz))
        stream.width, stream.height = SIZE
        stream.pix_fmt = "yuv420p"
        stream.options = {"crf": str(CRF), "preset": "slow", "threads": "1"}
        for shot in shots:
            frame = av.VideoFrame.from_ndarray(np.ascontiguousarray(shot.rgb), "rgb24")
            container.mux(stream.encode(frame))
            truth.append(shot)
        container.mux(stream.encode(None))
    return path, truth


def _write_truth(path: Path, played: Played, truth: Sequence[Picture]) -> None:
    """Write what is true of every picture: keypoints to a tenth of a pixel."""
    places = np.stack([shot.keypoints for shot in truth])
    cameras = [shot.camera for shot in truth]
    arrays = {
        "times": played.times[: len(truth)],
        "keypoints": np.round(10 * np.clip(places, -3000, 3000)).astype(np.int16),
        "visible": np.stack([shot.visible for shot in truth]),
        "eye": np.stack([camera.eye for camera in cameras]).astype(np.float32),
        "target": np.stack([camera.target for camera in cameras]).astype(np.float32),
        "gi": np.array([look.gi for look in truth[0].looks]),
        "wears": np.array([json.dumps(look.description) for look in truth[0].looks]),
        "timeline": np.array(played.timeline),
    }
    write_arrays(path, arrays)


def pack(folder: Path, out: Path, part_mb: float = 15.5, parts: int = 5) -> list[Path]:
    """Gather finished films and their truth in a few archives, by name, as far as they go.

    Parameters
    ----------
    folder : Path
        Where `film_all` wrote.
    out : Path
        Folder for ``films-0.tar`` and so on.
    part_mb : float
        Size of an archive at most, megabytes.
    parts : int
    """
    out.mkdir(parents=True, exist_ok=True)
    packed: list[tuple[Path, float]] = [(out / f"films-{n}.tar", 0.0) for n in range(parts)]
    for path, _ in packed:
        path.unlink(missing_ok=True)
    for truth in sorted(folder.glob("*.truth.npz"), key=_held_first):
        name = truth.name.removesuffix(".truth.npz")
        film = next(p for p in folder.glob(f"{name}.*") if p.suffix in (".mp4", ".zip"))
        size = (truth.stat().st_size + film.stat().st_size) / 1e6 + 0.01
        for n, (path, used) in enumerate(packed):
            if used + size <= part_mb:
                with tarfile.open(path, "a") as archive:
                    archive.add(truth, truth.name)
                    archive.add(film, film.name)
                packed[n] = (path, used + size)
                break
    return [path for path, used in packed if used]


def _held_first(path: Path) -> tuple[bool, str]:
    """What is judged by first: it is not to be left out where room runs short."""
    return path.name.startswith("train"), path.name
