"""What the units inside a packet of H.264 or HEVC are, as far as leaving pictures out needs it."""

from __future__ import annotations

from collections.abc import Iterator

from av.packet import Packet

_IDR = 5
"""H.264 (ITU-T H.264, table 7-1): a slice of a picture after which nothing needs one before."""
_IRAP = range(16, 22)
"""HEVC (ITU-T H.265, table 7-1): pictures whose trailing pictures need none before."""

_LENGTH_SIZE_AT = {"h264": 4, "hevc": 21}
"""Byte of the decoder's record that holds the size of length fields (ISO/IEC 14496-15)."""


def starts_anew(packet: Packet) -> bool:
    """Whether no picture that is decoded and shown after this one needs an earlier one.

    A key frame's mark in a file is not enough: a gradual refresh has it too. Other codecs than
    H.264 and HEVC are not looked into: False.
    """
    context = packet.stream.codec_context
    codec = context.name if context is not None else ""
    if context is None or codec not in _LENGTH_SIZE_AT:
        return False
    for first in _first_bytes(bytes(packet), context.extradata or b"", _LENGTH_SIZE_AT[codec]):
        kind = first & 31 if codec == "h264" else first >> 1 & 63
        if codec == "h264" and 1 <= kind <= _IDR:
            return kind == _IDR
        if codec == "hevc" and kind < 32:
            return kind in _IRAP
    return False


def _first_bytes(data: bytes, record: bytes, length_size_at: int) -> Iterator[int]:
    """Yield the first byte of each unit, in the form of MP4 (lengths) or of MPEG-TS (marks)."""
    if record[:1] == b"\x01" and len(record) > length_size_at:
        size = (record[length_size_at] & 3) + 1
        at = 0
        while at + size < len(data):
            yield data[at + size]
            at += size + int.from_bytes(data[at : at + size], "big")
        return
    at = data.find(b"\0\0\1")
    while 0 <= at < len(data) - 3:
        yield data[at + 3]
        at = data.find(b"\0\0\1", at + 3)
