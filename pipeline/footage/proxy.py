"""A copy that browsers can play: H.264 in MP4, turned upright, with the same times."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
from av.audio.resampler import AudioResampler
from av.container import InputContainer, OutputContainer
from av.video.frame import VideoFrame
from av.video.reformatter import VideoReformatter
from av.video.stream import VideoStream

from pipeline.footage.container import open_container, read_packets
from pipeline.footage.decoding import Picture
from pipeline.footage.errors import FootageError
from pipeline.footage.footage import Footage
from pipeline.footage.info import FootageInfo
from pipeline.footage.orientation import Orientation
from pipeline.footage.sampling import Span
from pipeline.locks import try_lock

_TICKS = 90_000
"""Ticks a second of the copy's timestamps, the customary video clock (ISO/IEC 13818-1)."""

_PLAYABLE = {
    "mov": frozenset({"h264", "av1", "libdav1d", "vp9", "libvpx-vp9"}),
    "webm": frozenset({"vp8", "vp9", "av1", "libvpx", "libvpx-vp9", "libdav1d"}),
}
_LONGEST_OFFSET_S = 0.05
_SOUND_RATE = 48_000


def needs_proxy(info: FootageInfo) -> bool:
    """Whether browsers can't be trusted to play a recording with the times that samples have.

    True for containers other than MP4 and WebM, codecs other than H.264, VP8, VP9 and AV1, more
    than 8 bits a channel, colour sampling other than 4:2:0, and pictures that start later than
    the file does.
    """
    family = "mov" if "mov" in info.container.split(",") else "webm"
    if family not in info.container or info.path.suffix.lower() == ".mkv":
        return True
    plain = info.bit_depth == 8 and info.pixel_format in ("yuv420p", "yuvj420p")
    on_time = abs(info.first_pts_s) <= _LONGEST_OFFSET_S
    return not (info.codec in _PLAYABLE[family] and plain and on_time)


def make_proxy(
    path: str | Path, out: str | Path, progress: Callable[[float], None] | None = None
) -> Path:
    """Write the copy for browsers.

    Every good picture of the source is in it, at its sample time (to 1/90000 s), upright and
    with square pixels; sound is kept as AAC. The index comes first, so that playing starts
    before all is loaded. The file appears under its name only when it is whole.

    Parameters
    ----------
    path, out : str or Path
        The recording, and the ``.mp4`` to write.
    progress : callable, optional
        Called now and then with the share done, 0–1.

    Returns
    -------
    Path
        `out`.

    Raises
    ------
    FootageError
        If the recording can't be read or the copy can't be written.
    """
    footage, out = Footage.open(path), Path(out)
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        with _whole_or_nothing(out) as temporary:
            _write(footage, temporary, progress or (lambda share: None))
    except OSError as error:
        raise FootageError(
            f"{out}: the copy for the browser could not be written ({error.strerror or error}); "
            "check the free space and the folder's permissions."
        ) from error
    return out


@contextmanager
def _whole_or_nothing(out: Path) -> Iterator[Path]:
    handle, name = tempfile.mkstemp(dir=out.parent, prefix=f".{out.stem}-", suffix=".part")
    temporary = Path(name)
    try:
        with os.fdopen(handle, "r+b") as file:
            try_lock(file)  # one that is not locked is what a killed program left behind
            yield temporary
        os.replace(temporary, out)
    finally:
        temporary.unlink(missing_ok=True)


def _write(footage: Footage, out: Path, progress: Callable[[float], None]) -> None:
    info = footage.info
    options = {"movflags": "+faststart"}
    with av.open(f"file:{out.absolute()}", "w", format="mp4", options=options) as container:
        video = _video_stream(container, footage)
        sound = _Sound(container, info) if info.has_audio else None
        draw = _Drawing(info, video.codec_context.width, video.codec_context.height)
        last_tick = -1
        for picture in footage.pictures(Span()):
            frame = draw(picture)
            tick = max(round(picture.time_s * _TICKS), last_tick + 1)
            frame.pts, frame.time_base, last_tick = tick, Fraction(1, _TICKS), tick
            container.mux(video.encode(frame))
            if sound:
                sound.write_until(picture.time_s)
            progress(min(1.0, picture.time_s / info.duration_s) if info.duration_s else 0.0)
        container.mux(video.encode(None))
        if sound:
            sound.finish()
    progress(1.0)


def _video_stream(container: OutputContainer, footage: Footage) -> VideoStream:
    info, settings = footage.info, footage.settings
    scale = min(1.0, settings.proxy_max_side / max(info.width, info.height))
    stream = container.add_stream("libx264", rate=round(info.average_rate or 30) or 30)
    # H.264 in 4:2:0 needs even sides.
    stream.width, stream.height = (
        max(2, round(side * scale / 2) * 2) for side in (info.width, info.height)
    )
    stream.pix_fmt = "yuv420p"
    stream.time_base = stream.codec_context.time_base = Fraction(1, _TICKS)
    stream.codec_context.thread_count = settings.decode_threads
    stream.options = {
        "preset": "veryfast",
        "crf": str(settings.proxy_crf),
        "g": str(settings.proxy_key_every),
        "bf": "0",  # no reordering: the first timestamp stays 0 without an edit list
    }
    return stream


class _Drawing:
    """Turns decoded pictures into upright ones of the copy's size."""

    def __init__(self, info: FootageInfo, width: int, height: int) -> None:
        self._orientation = info.orientation
        self._stored = info.orientation.size(width, height)
        self._reformatter = VideoReformatter()

    def __call__(self, picture: Picture) -> VideoFrame:
        width, height = self._stored
        upright = self._orientation == Orientation()
        frame = self._reformatter.reformat(
            picture.frame,
            width=width,
            height=height,
            format="yuv420p" if upright else "rgb24",
            interpolation="AREA",
            threads=1,
        )
        if upright:
            return frame
        image = self._orientation.apply(np.ascontiguousarray(frame.to_ndarray()))
        return VideoFrame.from_ndarray(image, "rgb24").reformat(format="yuv420p")


class _Sound:
    """Carries the sound over, on the pictures' clock."""

    def __init__(self, container: OutputContainer, info: FootageInfo) -> None:
        self._container = container
        self._source: InputContainer = open_container(info.path)
        self._stream = container.add_stream("aac", rate=_SOUND_RATE, layout="stereo")
        self._resampler = AudioResampler(format="fltp", layout="stereo", rate=_SOUND_RATE)
        self._first_s = info.first_pts_s
        self._packets = read_packets(self._source, self._source.streams.audio[0], info.path)
        self._reached_s = float("-inf")
        self._samples = 0
        self._ended = False

    def write_until(self, time_s: float) -> None:
        """Write sound up to a time, so that the two streams lie side by side in the file."""
        while not self._ended and self._reached_s < time_s:
            packet = next(self._packets, None)
            if packet is None:
                self._ended = True
                return
            self._carry(packet)

    def finish(self) -> None:
        """Write the rest of the sound and let go of the source."""
        self.write_until(float("inf"))
        self._container.mux(self._stream.encode(None))
        self._source.close()

    def _carry(self, packet: av.Packet) -> None:
        try:
            frames: list[Any] = list(packet.decode())
        except av.error.FFmpegError:
            return
        for frame in frames:
            if frame.pts is None:
                continue
            start_s = float(frame.pts * frame.time_base) - self._first_s
            self._reached_s = max(self._reached_s, start_s)
            if start_s < 0:
                continue
            missing = round(start_s * _SOUND_RATE) - self._samples
            if (
                missing > _SOUND_RATE * _LONGEST_OFFSET_S
            ):  # lost sound: silence keeps the rest in step
                self._encode(_silence(missing))
            for piece in self._resampler.resample(frame):
                self._encode(piece)

    def _encode(self, piece: av.AudioFrame) -> None:
        piece.pts, piece.time_base = self._samples, Fraction(1, _SOUND_RATE)
        self._samples += piece.samples
        self._container.mux(self._stream.encode(piece))


def _silence(samples: int) -> av.AudioFrame:
    frame = av.AudioFrame.from_ndarray(np.zeros((2, samples), np.float32), "fltp", "stereo")
    frame.sample_rate = _SOUND_RATE
    return frame
