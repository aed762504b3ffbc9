"""An ONNX network of ours: square picture in, named arrays out."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import onnxruntime as ort

from pipeline.errors import MatlineError


class Network:
    """One ONNX file: fixed square input, float in [-1, 1], metadata as JSON values.

    Parameters
    ----------
    path : Path
    threads : int, optional
        Threads inside one run; None leaves it to ONNX Runtime.

    Raises
    ------
    MatlineError
        If the file is missing or no network.
    """

    def __init__(self, path: Path, threads: int | None = None) -> None:
        if not path.is_file():
            raise MatlineError(
                f"The weights {path.name} are missing from {path.parent}; reinstall matline, or "
                "use the other reader with --backend mediapipe."
            )
        self.digest = hashlib.blake2b(path.read_bytes(), digest_size=8).hexdigest()
        options = ort.SessionOptions()
        options.log_severity_level = 3
        # A thread that waits by spinning takes the processor from decoding, which runs beside it.
        options.add_session_config_entry("session.intra_op.allow_spinning", "0")
        if threads:
            options.intra_op_num_threads = threads
        available = ort.get_available_providers()
        wanted = ("CUDAExecutionProvider", "CoreMLExecutionProvider", "CPUExecutionProvider")
        providers = [p for p in wanted if p in available]
        try:
            self._session = ort.InferenceSession(str(path), options, providers=providers)
        except Exception as error:  # ONNX Runtime raises types of its own
            raise MatlineError(
                f"The weights {path} can't be read ({error}); reinstall matline."
            ) from error
        self._input = self._session.get_inputs()[0]
        self.size = int(self._input.shape[2])
        meta = self._session.get_modelmeta().custom_metadata_map
        self.metadata = {key: json.loads(value) for key, value in meta.items()}
        self.output_names = [o.name for o in self._session.get_outputs()]

    def run(self, pictures: Sequence[np.ndarray]) -> list[dict[str, np.ndarray]]:
        """Run on RGB pictures, uint8 (S, S, 3) each, one at a time."""
        results = []
        for picture in pictures:
            x = picture.astype(np.float32).transpose(2, 0, 1)[None] * (2 / 255) - 1
            values = self._session.run(None, {self._input.name: np.ascontiguousarray(x)})
            results.append(dict(zip(self.output_names, values, strict=True)))
        return results
