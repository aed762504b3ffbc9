"""Recordings that the tests make themselves."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np

TICKS = Fraction(1, 90_000)


def numbered(index: int, width: int, height: int) -> np.ndarray:
    """Return a picture whose top row of 12 blocks spells its index in binary."""
    image = np.full((height, width, 3), 60, np.uint8)
    block = width // 12
    for bit in range(12):
        value = 230 if index >> bit & 1 else 20
        image[: height // 3, bit * block : (bit + 1) * block] = value
    centre = (width // 2 + int(width / 4 * np.sin(index / 9)), 2 * height // 3)
    return cv2.circle(image, centre, height // 6, (200, 120, 40), -1)


def number_in(image: np.ndarray) -> int:
    """Read the index back from a picture made by `numbered`."""
    height, width = image.shape[:2]
    block = width // 12
    blocks = [
        image[height // 12 : height // 4, b * block + 2 : (b + 1) * block - 2] for b in range(12)
    ]
    return sum(1 << bit for bit, patch in enumerate(blocks) if patch.mean() > 125)


def make_video(
    path: Path,
    pts: Sequence[int],
    *,
    size: tuple[int, int] = (240, 136),
    codec: str = "libx264",
    pixels: str = "yuv420p",
    time_base: Fraction = TICKS,
    rotation: int | None = None,
    options: dict[str, str] | None = None,
    container: str | None = None,
    container_options: dict[str, str] | None = None,
    sound: bool = False,
) -> Path:
    """Write one picture for each timestamp; picture i shows the number i."""
    with av.open(str(path), "w", format=container, options=container_options or {}) as out:
        stream = out.add_stream(codec, rate=30)
        stream.width, stream.height = size
        stream.pix_fmt = pixels
        stream.time_base = stream.codec_context.time_base = time_base
        stream.options = {"g": "30", "bf": "2"} if options is None else options
        if rotation is not None:
            stream.set_display_rotation(rotation)
        audio = out.add_stream("aac", rate=48_000, layout="mono") if sound else None
        if audio is not None:
            _add_tone(out, audio, float((pts[-1] - pts[0]) * time_base))
        for index, stamp in enumerate(pts):
            frame = av.VideoFrame.from_ndarray(numbered(index, *size), "rgb24")
            frame.pts, frame.time_base = int(stamp), time_base
            out.mux(stream.encode(frame))
        out.mux(stream.encode(None))
    return path


def repeated(source: Path, path: Path, times: int) -> Path:
    """Write a recording many times over, without coding it again."""
    with av.open(str(source)) as read:
        stream = read.streams.video[0]
        packets = [p for p in read.demux(stream) if p.pts is not None]
        parts = [(bytes(p), p.pts, p.dts, p.is_keyframe) for p in packets]
        length = max(p.pts + p.duration for p in packets)
        with av.open(str(path), "w") as out:
            target = out.add_stream_from_template(stream)
            for turn in range(times):
                for data, pts, dts, is_key in parts:
                    packet = av.Packet(data)
                    packet.pts, packet.dts = pts + turn * length, dts + turn * length
                    packet.time_base, packet.is_keyframe = stream.time_base, is_key
                    packet.stream = target
                    out.mux(packet)
    return path


def _add_tone(out, audio, seconds: float) -> None:
    samples = np.sin(np.arange(int(seconds * 48_000)) * 0.05).astype(np.float32)
    for start in range(0, len(samples) - 1024, 1024):
        frame = av.AudioFrame.from_ndarray(samples[None, start : start + 1024], "fltp", "mono")
        frame.sample_rate, frame.pts = 48_000, start
        out.mux(audio.encode(frame))
    out.mux(audio.encode(None))


def every(ticks: int, count: int, first: int = 0) -> list[int]:
    """Return evenly spaced timestamps."""
    return [first + ticks * i for i in range(count)]


def uneven(count: int, seed: int = 1) -> list[int]:
    """Return timestamps as a phone writes them in bad light: 12 to 60 pictures a second."""
    steps = np.random.default_rng(seed).integers(1500, 7500, count - 1)
    return [0, *np.cumsum(steps).tolist()]
