"""What a recording is, found without reading all of it."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
from av.container import InputContainer
from av.video.frame import VideoFrame
from av.video.stream import VideoStream

from pipeline.footage.container import open_container, read_packets, video_stream
from pipeline.footage.errors import FootageError
from pipeline.footage.orientation import Orientation
from pipeline.footage.placing import Placing, believable

_HASHED_BYTES_AT_EACH_END = 1 << 20
_RATE_IF_UNKNOWN = Fraction(30)
_SLOWEST_RATE, _FASTEST_RATE = Fraction(1, 60), 1000  # beyond, a header states nonsense


@dataclass(frozen=True)
class FootageInfo:
    """What a recording is.

    Attributes
    ----------
    path : Path
    key : str
        Identity of the content: hash of size, first and last MiB. Two copies share it.
    size_bytes : int
    container : str
        Container format, ``"mov,mp4,m4a,3gp,3g2,mj2"`` for example.
    codec, pixel_format : str
    bit_depth : int
    width, height : int
        Pixels of the picture as shown: turned, and with square pixels.
    orientation : Orientation
    duration_s : float
        From the first picture to the end of the last, as the container states it where that can
        be believed, else as far as there are packets.
    stated_s : float
        What the container states, as far as it can be believed; longer than what is there if the
        file was cut off.
    average_rate : float or None
        Pictures a second as stated; None when the file does not say. Never used for time.
    first_pts_s : float
        The first picture's time in the container; sample times are measured from it.
    first_pts : int
        The same in `time_base` units.
    time_base : Fraction
    timed : bool
        False when the file carries no timestamps; pictures are then counted at the stated rate.
    seekable : bool
    has_audio : bool
    """

    path: Path
    key: str
    size_bytes: int
    container: str
    codec: str
    pixel_format: str
    bit_depth: int
    width: int
    height: int
    orientation: Orientation
    duration_s: float
    stated_s: float
    average_rate: float | None
    first_pts_s: float
    first_pts: int
    time_base: Fraction
    timed: bool
    seekable: bool
    has_audio: bool

    @property
    def rotation(self) -> int:
        """Degrees clockwise that the stored picture is turned to be shown."""
        return self.orientation.degrees_clockwise

    @property
    def counting_rate(self) -> Fraction:
        """Rate at which the pictures of an untimed file are counted."""
        if self.average_rate is None:
            return _RATE_IF_UNKNOWN
        return Fraction(self.average_rate).limit_denominator(1001)


def probe(path: Path) -> FootageInfo:
    """Look at a file: open it, decode its first picture.

    Raises
    ------
    FootageError
        If it is no readable video.
    """
    with open_container(path) as container:
        stream = video_stream(container, path)
        frame = _first_frame(container, stream, path)
        orientation = _orientation(frame)
        width, height = orientation.size(*_square_pixels(stream, frame))
        time_base = stream.time_base or Fraction(1, 90000)
        timed = frame.pts is not None and not _counts_in_decoding_order(container, stream)
        first_pts = frame.pts if timed and frame.pts is not None else 0
        rate = _stated_rate(stream)
        duration_s = _duration(container, stream, path, first_pts, timed)
        return FootageInfo(
            path=path,
            key=content_key(path),
            size_bytes=path.stat().st_size,
            container=container.format.name,
            codec=stream.codec_context.name,
            pixel_format=frame.format.name,
            bit_depth=max(component.bits for component in frame.format.components),
            width=width,
            height=height,
            orientation=orientation,
            duration_s=duration_s,
            stated_s=duration_s,
            average_rate=float(rate) if rate else None,
            first_pts_s=float(first_pts * time_base),
            first_pts=first_pts,
            time_base=time_base,
            timed=timed,
            seekable=timed and _seekable(path, first_pts),
            has_audio=bool(container.streams.audio),
        )


def content_key(path: Path) -> str:
    """Return a hash of a file's size, first MiB and last MiB (32 hexadecimal digits)."""
    size = path.stat().st_size
    digest = hashlib.blake2b(str(size).encode(), digest_size=16)
    with path.open("rb") as file:
        digest.update(file.read(_HASHED_BYTES_AT_EACH_END))
        file.seek(max(0, size - _HASHED_BYTES_AT_EACH_END))
        digest.update(file.read(_HASHED_BYTES_AT_EACH_END))
    return digest.hexdigest()


def _first_frame(container: InputContainer, stream: VideoStream, path: Path) -> VideoFrame:
    for packet in read_packets(container, stream, path):
        try:
            frames = packet.decode()
        except av.error.FFmpegError:
            continue
        if frames:
            return frames[0]
    raise FootageError(
        f"{path}: no picture could be decoded; the file is damaged, encrypted or empty of "
        "pictures, copy it from the camera again."
    )


def _counts_in_decoding_order(container: InputContainer, stream: VideoStream) -> bool:
    """Whether timestamps number the pictures as decoded, not as shown: AVI with reordering.

    AVI runs at a fixed rate and has no other times, so counting shown pictures loses nothing.
    """
    return container.format.name == "avi" and stream.codec_context.has_b_frames


def _orientation(frame: VideoFrame) -> Orientation:
    matrix: Any = frame.side_data.get("DISPLAYMATRIX")
    return Orientation() if matrix is None else Orientation.from_matrix(bytes(matrix))


def _square_pixels(stream: VideoStream, frame: VideoFrame) -> tuple[int, int]:
    """Return the stored size, its width stretched so that pixels are square."""
    ratio = stream.sample_aspect_ratio or Fraction(1)
    if not Fraction(1, 4) <= ratio <= 4:  # nonsense in the header
        ratio = Fraction(1)
    return max(1, round(frame.width * ratio)), frame.height


def _stated_rate(stream: VideoStream) -> Fraction | None:
    rate = stream.average_rate or stream.guessed_rate
    return rate if rate and _SLOWEST_RATE <= rate <= _FASTEST_RATE else None


def _duration(
    container: InputContainer, stream: VideoStream, path: Path, first_pts: int, timed: bool
) -> float:
    """Return the seconds from the first picture to the end: stated, or measured if none can be."""
    claim_s = _claim(container, stream, first_pts) if timed else 0.0
    if believable(claim_s, path.stat().st_size):
        return claim_s
    return _measured_duration(path, first_pts, timed)


def _claim(container: InputContainer, stream: VideoStream, first_pts: int) -> float:
    time_base = stream.time_base or Fraction(1, 90000)
    if stream.duration:
        start = stream.start_time if stream.start_time is not None else first_pts
        return float((start + stream.duration - first_pts) * time_base)
    if container.duration:
        start_s = (container.start_time or 0) / av.time_base
        return start_s + container.duration / av.time_base - float(first_pts * time_base)
    return 0.0


def _measured_duration(path: Path, first_pts: int, timed: bool) -> float:
    """Walk all packets, for files whose recorder wrote no length, or one that can't be."""
    with open_container(path) as container:
        stream = video_stream(container, path)
        time_base = stream.time_base or Fraction(1, 90000)
        count, placing = 0, Placing()
        for packet in read_packets(container, stream, path):
            count += packet.size > 0
            if packet.pts is not None and packet.size:
                time_s = float((packet.pts - first_pts) * time_base)
                placing.place(time_s, float((packet.duration or 0) * time_base))
        if not timed:
            return float(count / (_stated_rate(stream) or _RATE_IF_UNKNOWN))
        return placing.end_s


def _seekable(path: Path, first_pts: int) -> bool:
    """Try a seek, on a second handle so that nothing else is disturbed."""
    with open_container(path) as container:
        stream = video_stream(container, path)
        try:
            container.seek(first_pts, stream=stream)
        except (av.error.FFmpegError, OSError):
            return False
        return True
