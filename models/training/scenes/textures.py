"""Photographs that walls, banners and rash guards are printed with, and that stand behind pairs.

They come from Python packages (see ``docs/rendering.md`` for each one's licence), are gathered
once into one file, and are never part of the repository.
"""

from __future__ import annotations

import itertools
import os
import tempfile
import zipfile
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path

import cv2
import numpy as np

from pipeline.errors import MatlineError

from .panoramas import is_panorama, read_panorama, view

TILE_SIZE = (256, 256)
BACKDROP_SIZE = (640, 480)
_PICTURES = (".jpg", ".jpeg", ".png", ".webp", ".bmp", ".exr", ".exr.js")


@dataclass(frozen=True)
class Textures:
    """Photographs for the renderer.

    Attributes
    ----------
    photos : ndarray, uint8, (n, 256, 256, 3)
        RGB; for prints, walls, banners and floors.
    backdrops : tuple of ndarray, uint8, (H, W, 3)
        RGB; to stand behind a pair.
    """

    photos: np.ndarray
    backdrops: tuple[np.ndarray, ...]


@dataclass(frozen=True)
class Source:
    """Photographs and panoramas found in packages, RGB, uint8 (H, W, 3)."""

    photographs: list[np.ndarray]
    panoramas: list[np.ndarray]


def gather(sources: Sequence[Path], leave_out: Sequence[str] = ()) -> Source:
    """Read every photograph under folders and in wheels or zip files.

    Parameters
    ----------
    sources : sequence of Path
        Folders, ``.whl`` or ``.zip`` files, or single pictures.
    leave_out : sequence of str
        Parts of file names to skip: above all pictures of people, who would be unlabelled.

    Returns
    -------
    Source
        Pictures smaller than 96 pixels, partly transparent or without colours are skipped.
    """
    found = Source([], [])
    for name, data in _files(sources):
        if any(part in name.lower() for part in leave_out):
            continue
        if is_panorama(name):
            with suppress(KeyError):
                found.panoramas.append(read_panorama(data))
            continue
        image = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)
        if image is None or min(image.shape[:2]) < 96 or image.dtype != np.uint8:
            continue
        if image.ndim == 2:
            image = np.repeat(image[..., None], 3, axis=2)
        if image.shape[2] == 4 and (image[..., 3] < 250).mean() > 0.02:
            continue
        found.photographs.append(np.ascontiguousarray(image[..., 2::-1]))
    return found


def make_textures(source: Source, photos: int, backdrops: int, seed: int = 0) -> Textures:
    """Cut many varied textures from few photographs: crops, mirrored, tinted, blurred.

    Parameters
    ----------
    source : Source
        Panoramas, where there are any, give three of four backdrops.
    photos, backdrops : int
        How many to make.
    seed : int

    Returns
    -------
    Textures
    """
    if not source.photographs:
        raise MatlineError("No photographs were found: name folders or wheels that hold some.")
    rng = np.random.default_rng(seed)
    return Textures(
        np.stack([_cut(rng, source.photographs, TILE_SIZE, 0.25) for _ in range(photos)]),
        tuple(_backdrop(rng, source) for _ in range(backdrops)),
    )


def save_textures(path: Path, textures: Textures) -> None:
    """Write textures as JPEG in one ``.npz`` without pickles, atomically."""
    encoded = [_jpeg(p) for p in (*textures.photos, *textures.backdrops)]
    offsets = np.concatenate([[0], np.cumsum([len(e) for e in encoded])])
    arrays = {
        "data": np.concatenate(encoded),
        "offsets": offsets.astype(np.int64),
        "photos": np.array(len(textures.photos)),
    }
    handle, temporary = tempfile.mkstemp(dir=path.parent, suffix=".npz")
    with os.fdopen(handle, "wb") as out:
        np.savez(out, **arrays)  # type: ignore[arg-type]
    os.replace(temporary, path)


def load_textures(path: Path | None) -> Textures:
    """Read textures; without a path, scikit-learn's two sample photographs serve.

    Raises
    ------
    MatlineError
        If the file is missing or not one of textures.
    """
    if path is None:
        return make_textures(Source(_sample_photographs(), []), 24, 8)
    try:
        with np.load(path, allow_pickle=False) as stored:
            data, offsets, n = stored["data"], stored["offsets"], int(stored["photos"])
    except (OSError, KeyError, ValueError, zipfile.BadZipFile) as error:
        raise MatlineError(
            f"{path} is not a file of textures: make one with "
            "python -m models.training.scenes textures SOURCE... --out FILE."
        ) from error
    cuts = [data[a:b] for a, b in itertools.pairwise(offsets)]
    decoded = [np.asarray(cv2.imdecode(c, cv2.IMREAD_COLOR))[..., ::-1] for c in cuts]
    return Textures(np.stack(decoded[:n]), tuple(np.ascontiguousarray(b) for b in decoded[n:]))


def _sample_photographs() -> list[np.ndarray]:
    from sklearn.datasets import load_sample_images

    return [np.asarray(image) for image in load_sample_images().images]


def _files(sources: Sequence[Path]) -> Iterator[tuple[str, bytes]]:
    for source in sources:
        if source.is_dir():
            for path in sorted(source.rglob("*")):
                if path.name.lower().endswith(_PICTURES):
                    yield path.name, path.read_bytes()
        elif source.suffix in (".whl", ".zip"):
            with zipfile.ZipFile(BytesIO(source.read_bytes())) as archive:
                for name in sorted(archive.namelist()):
                    if name.lower().endswith(_PICTURES):
                        yield Path(name).name, archive.read(name)
        elif source.name.lower().endswith(_PICTURES) and source.exists():
            yield source.name, source.read_bytes()
        else:
            raise MatlineError(f"{source} is neither a folder, a wheel, a zip file nor a picture.")


def _backdrop(rng: np.random.Generator, source: Source) -> np.ndarray:
    if not source.panoramas or rng.random() < 0.25:
        return _cut(rng, source.photographs, BACKDROP_SIZE, 0.45)
    panorama = source.panoramas[rng.integers(len(source.panoramas))]
    where = rng.uniform(0, 360), rng.uniform(-35, 8), rng.uniform(45, 110)
    return _vary(rng, view(panorama, *where, BACKDROP_SIZE))


def _cut(
    rng: np.random.Generator, pictures: Sequence[np.ndarray], size: tuple[int, int], least: float
) -> np.ndarray:
    image = pictures[int(rng.integers(len(pictures)))]
    h, w = image.shape[:2]
    share = rng.uniform(least, 1.0)
    cw = int(min(w, h * size[0] / size[1]) * share)
    ch = int(cw * size[1] / size[0])
    x, y = rng.integers(w - cw + 1), rng.integers(h - ch + 1)
    return _vary(rng, cv2.resize(image[y : y + ch, x : x + cw], size, interpolation=cv2.INTER_AREA))


def _vary(rng: np.random.Generator, picture: np.ndarray) -> np.ndarray:
    """Mirror, tint, brighten or darken, blur."""
    if rng.random() < 0.5:
        picture = picture[:, ::-1]
    tinted = picture.astype(np.float32) * rng.uniform(0.8, 1.2, 3) * rng.uniform(0.6, 1.25)
    if rng.random() < 0.1:
        tinted = tinted[..., rng.permutation(3)]
    out = np.clip(tinted, 0, 255).astype(np.uint8)
    if rng.random() < 0.3:
        out = np.asarray(cv2.GaussianBlur(out, (0, 0), rng.uniform(0.8, 4)), np.uint8)
    return np.ascontiguousarray(out)


def _jpeg(picture: np.ndarray) -> np.ndarray:
    return cv2.imencode(".jpg", picture[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 85])[1].ravel()
