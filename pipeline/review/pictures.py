"""The footage as the page needs it: the file to play, its size, its pictures' times."""

from __future__ import annotations

import math
import mimetypes
import re
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
from starlette.datastructures import Headers
from starlette.responses import FileResponse
from starlette.types import Receive, Scope, Send

from pipeline.errors import MatlineError
from pipeline.footage import Footage
from pipeline.footage.container import open_container, read_packets, video_stream
from pipeline.footage.info import FootageInfo, probe
from pipeline.library import Bout

BYTE_RANGES = re.compile(r"\s*bytes\s*=\s*[\d\s,-]*\d[\d\s,-]*$", re.IGNORECASE)


class NotHereError(MatlineError):
    """What was asked for does not exist."""


class FootageResponse(FileResponse):
    """A file with byte ranges; a Range header of another unit is ignored (RFC 9110, 14.2)."""

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if not BYTE_RANGES.match(Headers(scope=scope).get("range", "")):
            headers = [(name, value) for name, value in scope["headers"] if name != b"range"]
            scope = {**scope, "headers": headers}
        await super().__call__(scope, receive, send)


def playable(bout: Bout) -> Path:
    """Return the copy for browsers where one was made, else the original."""
    return bout.proxy if bout.proxy is not None and bout.proxy.is_file() else bout.footage


def footage_response(bout: Bout) -> FootageResponse:
    """Answer with a registered file; no path ever comes from the request."""
    path = playable(bout)
    if not path.is_file():
        raise NotHereError(f"The footage {path.name} is not where it was; put it back.")
    kind = mimetypes.guess_type(path.name)[0] or ""
    return FootageResponse(
        path,
        media_type=kind if kind.startswith("video/") else "application/octet-stream",
        stat_result=path.stat(),
    )


def picture_times(path: Path, start_s: float, end_s: float) -> np.ndarray:
    """Return the times of a file's pictures in a stretch, as stored.

    Only packets are read, nothing is decoded.

    Parameters
    ----------
    path : Path
    start_s, end_s : float
        Seconds from the first picture, half-open.

    Returns
    -------
    ndarray, float64, (N,)
        Rising.

    Raises
    ------
    FootageError
        If the file can't be read.
    """
    info = footage_info(path)
    if not info.timed:
        rate = float(info.counting_rate)
        return np.arange(np.ceil(start_s * rate - 1e-6), np.ceil(end_s * rate - 1e-6)) / rate
    times = set()
    with open_container(path) as container:
        stream = video_stream(container, path)
        if info.seekable:
            container.seek(info.first_pts + int(start_s / info.time_base), stream=stream)
        for packet in read_packets(container, stream, path):
            if packet.dts is not None and (packet.dts - info.first_pts) * info.time_base > end_s:
                break
            if packet.pts is not None:
                times.add(float((packet.pts - info.first_pts) * info.time_base))
    return np.array(sorted(t for t in times if start_s <= t < end_s))


def still(path: Path, time_s: float) -> bytes:
    """Return the picture that a file holds at a time, exactly, as JPEG.

    Parameters
    ----------
    path : Path
    time_s : float
        One of `picture_times`.

    Raises
    ------
    NotHereError
        If no picture starts there or later.
    """
    frames = Footage(footage_info(path)).frames(math.inf, start_s=max(0.0, time_s - 1e-4))
    frame = next(iter(frames), None)
    if frame is None:
        raise NotHereError(f"{path.name} has no picture at {time_s:.3f} s.")
    _, coded = cv2.imencode(".jpg", frame.image[..., ::-1])
    return coded.tobytes()


def footage_info(path: Path) -> FootageInfo:
    """Return what a file is, looked at once for as long as it stays the same."""
    try:
        changed = path.stat().st_mtime_ns
    except OSError as error:
        raise NotHereError(f"The footage {path.name} is not where it was; put it back.") from error
    return _probed(path, changed)


@lru_cache(maxsize=64)
def _probed(path: Path, changed: int) -> FootageInfo:
    return probe(path)
