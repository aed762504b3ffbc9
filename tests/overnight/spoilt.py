"""Films of many containers, and ways to spoil them: the same files from the same seed."""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterator
from fractions import Fraction
from pathlib import Path

import av
import numpy as np

from tests.overnight.figures import picture

Rng = np.random.Generator
SIZE = (160, 96)
RATE = 10

KINDS: dict[str, dict] = {
    "plain.mp4": {},
    "index first.mp4": {"options": {"movflags": "+faststart"}},
    "fragments.mp4": {"options": {"movflags": "frag_keyframe+empty_moov"}},
    "encrypted.mp4": {
        "options": {
            "encryption_scheme": "cenc-aes-ctr",
            "encryption_key": "00112233445566778899aabbccddeeff",
            "encryption_kid": "ffeeddccbbaa99887766554433221100",
        }
    },
    "sound.mp4": {"sound": True},
    "turned.mov": {"rotation": 90},
    "film.mkv": {},
    "film.webm": {"codec": "libvpx"},
    "camcorder.ts": {"sound": True},
    "film.avi": {"codec": "mpeg4"},
    "pictures.avi": {"codec": "mjpeg", "pixels": "yuvj420p"},
    "disc.mpg": {"codec": "mpeg2video", "rate": 25},
    "film.flv": {},
    "film.nut": {},
    "film.wmv": {"codec": "wmv2"},
    "film.mxf": {"codec": "mpeg2video", "rate": 25},
    "moving.gif": {"codec": "gif", "pixels": "rgb8"},
    "bare.h264": {},
    "bare.hevc": {"codec": "libx265"},
    "ten bit.mp4": {"codec": "libx265", "pixels": "yuv420p10le"},
}
"""The films' names, and what is not as usual about each."""

CODEC_OPTIONS = {
    "libx264": {"g": "10", "bf": "2", "preset": "ultrafast"},
    "libx265": {"preset": "ultrafast", "x265-params": "log-level=none:keyint=10"},
    "libvpx": {"deadline": "realtime", "cpu-used": "8", "g": "10"},
}


def make_films(folder: Path, seconds: float = 3.0) -> list[Path]:
    """Write one film of each kind, two blocks moving about in each."""
    return [_film(folder / name, seconds, **kind) for name, kind in KINDS.items()]


def _film(
    path: Path,
    seconds: float,
    codec: str = "libx264",
    pixels: str = "yuv420p",
    rate: int = RATE,
    rotation: int | None = None,
    sound: bool = False,
    options: dict[str, str] | None = None,
) -> Path:
    with av.open(str(path), "w", options=options or {}) as container:
        stream = container.add_stream(codec, rate=rate)
        stream.width, stream.height = SIZE
        stream.pix_fmt = pixels
        stream.codec_context.time_base = Fraction(1, rate)
        stream.options = CODEC_OPTIONS.get(codec, {"g": "10"})
        if rotation is not None:
            stream.set_display_rotation(rotation)
        tone = container.add_stream("aac", rate=8000, layout="mono") if sound else None
        for number in range(round(seconds * rate)):
            frame = av.VideoFrame.from_ndarray(picture(number / rate), format="rgb24")
            frame.pts = number
            container.mux(stream.encode(frame.reformat(format=pixels)))
        container.mux(stream.encode(None))
        if tone is not None:
            _add_silence(container, tone, seconds)
    return path


def _add_silence(container, tone, seconds: float) -> None:
    for start in range(0, round(seconds * 8000), 1024):
        frame = av.AudioFrame.from_ndarray(np.zeros((1, 1024), np.float32), "fltp", "mono")
        frame.sample_rate, frame.pts = 8000, start
        container.mux(tone.encode(frame))
    container.mux(tone.encode(None))


def flipped(data: bytes, rng: Rng, other: bytes) -> bytes:
    """Bits flipped anywhere: a worn card."""
    spoilt = np.frombuffer(data, np.uint8).copy()
    count = max(1, int(len(data) * 10 ** rng.uniform(-4, -1.5)))
    spoilt[rng.integers(0, len(data), count)] ^= 1 << rng.integers(0, 8, count, dtype=np.uint8)
    return spoilt.tobytes()


def flipped_behind_the_head(data: bytes, rng: Rng, other: bytes) -> bytes:
    """Bits flipped in the second half: the film opens well and then goes wrong."""
    half = len(data) // 2
    return data[:half] + flipped(data[half:], rng, other)


def cut(data: bytes, rng: Rng, other: bytes) -> bytes:
    """Its end is missing: a full card, a copy broken off."""
    return data[: int(len(data) * rng.uniform(0.02, 0.98))]


def without_its_beginning(data: bytes, rng: Rng, other: bytes) -> bytes:
    """Its beginning is missing: saved from a damaged card."""
    return data[int(len(data) * rng.uniform(0.02, 0.6)) :]


def zeroed(data: bytes, rng: Rng, other: bytes) -> bytes:
    """A run of zeros inside: sectors that could not be read."""
    start = int(len(data) * rng.uniform(0, 0.9))
    length = int(len(data) * 10 ** rng.uniform(-2.5, -0.3))
    spoilt = bytearray(data)
    spoilt[start : start + length] = bytes(len(spoilt[start : start + length]))
    return bytes(spoilt)


def packets_dropped(data: bytes, rng: Rng, other: bytes) -> bytes:
    """Pieces of 188 bytes, the packets of MPEG-TS, lost: bad reception."""
    pieces = [data[at : at + 188] for at in range(0, len(data), 188)]
    lost = 10 ** rng.uniform(-2, -0.5)
    return pieces[0] + b"".join(piece for piece in pieces[1:] if rng.random() > lost)


def head_changed(data: bytes, rng: Rng, other: bytes) -> bytes:
    """Numbers of the first 600 bytes changed to extremes: a header that claims anything."""
    return _numbers_changed(data, 0, min(600, len(data)), rng)


def index_changed(data: bytes, rng: Rng, other: bytes) -> bytes:
    """The same in the last 1,200 bytes, where an MP4 or MKV keeps its index."""
    return _numbers_changed(data, max(0, len(data) - 1200), len(data), rng)


def _numbers_changed(data: bytes, start: int, end: int, rng: Rng) -> bytes:
    spoilt = bytearray(data)
    for _ in range(rng.integers(1, 5)):
        at = int(rng.integers(start, max(start + 1, end - 8)))
        value = EXTREMES[rng.integers(len(EXTREMES))]
        spoilt[at : at + len(value)] = value
    return bytes(spoilt[: len(data)])


EXTREMES = (
    b"\0\0\0\0", b"\xff\xff\xff\xff", b"\x7f\xff\xff\xff", b"\x80\0\0\0", b"\0\0\0\1", b"\xff",
    b"\x7f", struct.pack(">d", 1e15), struct.pack(">q", 2**62), struct.pack("<i", 10**9),
)  # fmt: skip


def mixed(data: bytes, rng: Rng, other: bytes) -> bytes:
    """The head of one film and the rest of another of any kind: files mixed up by a rescue tool."""
    at = rng.uniform(0.1, 0.9)
    return data[: int(len(data) * at)] + other[int(len(other) * at) :]


def joined(data: bytes, rng: Rng, other: bytes) -> bytes:
    """One film behind another."""
    return data + other


def shuffled(data: bytes, rng: Rng, other: bytes) -> bytes:
    """Blocks of 4 KiB in another order, the first one in its place."""
    blocks = [data[at : at + 4096] for at in range(0, len(data), 4096)]
    order = [0, *(1 + rng.permutation(len(blocks) - 1))]
    return b"".join(blocks[i] for i in order)


WAYS: dict[str, Callable[[bytes, Rng, bytes], bytes]] = {
    "flipped": flipped,
    "flipped behind the head": flipped_behind_the_head,
    "cut": cut,
    "without its beginning": without_its_beginning,
    "zeroed": zeroed,
    "packets dropped": packets_dropped,
    "head changed": head_changed,
    "index changed": index_changed,
    "mixed": mixed,
    "joined": joined,
    "shuffled": shuffled,
}


def spoilt_films(films: list[Path], folder: Path, count: int, seed: int) -> Iterator[Path]:
    """Write `count` spoilt copies, each kind of film in each way in turn, from the same seed."""
    rng = np.random.default_rng(seed)
    contents = {film: film.read_bytes() for film in films}
    turns = [(way, film) for way in WAYS for film in films]
    for number in range(count):
        way, film = turns[number % len(turns)]
        other = contents[films[rng.integers(len(films))]]
        path = folder / f"{number:04d} {film.stem}, {way}{film.suffix}"
        path.write_bytes(WAYS[way](contents[film], rng, other))
        yield path
