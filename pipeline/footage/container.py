"""Opening a file with the container library, safely and with clear errors."""

from __future__ import annotations

import errno
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import av
from av.container import InputContainer
from av.packet import Packet
from av.video.stream import VideoStream

from pipeline.footage.errors import FootageError, check_file, why_unreadable

# Damage is recorded as gaps; the library's own messages would only litter the terminal.
av.logging.set_level(None)

# Play lists, subtitle and text formats are left out on purpose: the library would follow the
# addresses in a play list, and reads any text file as a picture of text.
_FORMATS = (
    "3dostr,aiff,asf,avi,dv,dvbsub,flac,flv,gif,gxf,h261,h263,h264,hevc,av1,obu,ivf,m4v,matroska,"
    "webm,mjpeg,mjpeg_2000,mov,mp3,mpeg,mpegts,mpegvideo,mxf,nut,ogg,rm,swf,vc1,wav,wtv,yuv4mpegpipe"
)
_OPEN_OPTIONS = {"protocol_whitelist": "file", "format_whitelist": _FORMATS}
_FAILED_READS_BEFORE_GIVING_UP = 100


def open_container(path: Path) -> InputContainer:
    """Open a file for reading.

    Raises
    ------
    FootageError
        One sentence that says what is wrong with the file.
    """
    check_file(path)
    # "file:" keeps a name such as "mat 1:final.mp4" from being read as a protocol.
    address = f"file:{path.absolute()}"
    try:
        return av.open(address, options=dict(_OPEN_OPTIONS), metadata_errors="replace")
    except (av.error.FFmpegError, OSError, ValueError) as error:
        raise why_unreadable(path) from error


def video_stream(container: InputContainer, path: Path) -> VideoStream:
    """Return the stream to watch: the largest one that is no cover picture.

    Raises
    ------
    FootageError
        If there is none.
    """
    streams = [s for s in container.streams.video if not _is_still(s)]
    if not streams:
        held = "only sound" if container.streams.audio else "no video"
        raise FootageError(f"{path}: the file holds {held}; give the file with the pictures.")
    stream = max(streams, key=lambda s: (s.codec_context is not None, _pixels(s)))
    if stream.codec_context is None:
        raise FootageError(
            f"{path}: its video is in a form that can't be decoded here; convert it to H.264 first."
        )
    if not _pixels(stream):
        raise FootageError(
            f"{path}: no picture could be found in its video; copy it from the camera again."
        )
    return stream


def _is_still(stream: VideoStream) -> bool:
    return bool(stream.disposition & av.stream.Disposition.attached_pic)


def _pixels(stream: VideoStream) -> int:
    context = stream.codec_context
    return context.width * context.height if context is not None else 0


def read_packets(container: InputContainer, stream: Any, path: Path) -> Iterator[Packet]:
    """Yield a stream's packets, going on after damage; a last empty packet flushes the decoder.

    Raises
    ------
    FootageError
        If the file can no longer be read at all (a pulled card, a lost share).
    """
    failures = 0
    while True:
        try:
            for packet in container.demux(stream):
                failures = 0
                yield packet
            return
        except IndexError:  # a stream that first appears midway; PyAV's list of streams is older
            failures += 1
        except (av.error.FFmpegError, OSError) as error:
            failures += 1
            if error.errno in (errno.EIO, errno.ENODEV, errno.ESTALE, errno.ENXIO):
                raise FootageError(
                    f"{path}: reading stopped ({error.strerror}); check the disk or card and run "
                    "again."
                ) from error
        if failures >= _FAILED_READS_BEFORE_GIVING_UP:
            return
