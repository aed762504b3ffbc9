"""A strict reading of WebVTT: what the W3C's syntax allows and nothing else.

Players are lenient, and each in its own way; what passes here plays in all of them. Source: WebVTT:
The Web Video Text Tracks Format, W3C, section 4 "Syntax".
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from pipeline.errors import MatlineError

_TIME = r"(?:(\d{2,}):)?([0-5]\d):([0-5]\d)\.(\d{3})"
_TIMES = re.compile(rf"{_TIME}[ \t]+-->[ \t]+{_TIME}(?:[ \t]+\S.*)?")
_REFERENCE = re.compile(r"&(?:[A-Za-z][A-Za-z0-9]*|#\d+|#[xX][0-9A-Fa-f]+);")
_TAG = re.compile(r"</?(?:c|i|b|u|v|ruby|rt|lang)?(?:\.[^\s<>&.]+)*(?:[ \t][^<>&]*)?>|<[\d:.]+>")


@dataclass(frozen=True)
class Cue:
    """One cue: its name, times in seconds, lines as written, and the line its times are on."""

    name: str
    start_s: float
    end_s: float
    lines: list[str]
    line: int


def webvtt_problems(text: str) -> list[str]:
    """Return what is wrong with a WebVTT file, a sentence each, with its line; empty if valid."""
    lines = _lines(text)
    if not re.fullmatch(r"WEBVTT(?:[ \t].*)?", lines[0]):
        return ["Line 1: a WebVTT file starts with WEBVTT."]
    if len(lines) > 1 and lines[1].strip() and "-->" in lines[1]:
        return ["Line 2: an empty line must follow WEBVTT."]
    found: list[str] = ["The file holds a null character."] if "\0" in text else []
    names: set[str] = set()
    latest_s = 0.0
    for first, block in _blocks(lines):
        if _is_aside(block):
            continue
        try:
            cue = _cue(first, block)
        except MatlineError as error:
            found.append(str(error))
            continue
        where = f"Line {cue.line}:"
        if cue.end_s <= cue.start_s:
            found.append(f"{where} a cue must end after it starts.")
        if cue.start_s < latest_s:
            found.append(f"{where} cues must be ordered by their start.")
        if cue.name and cue.name in names:
            found.append(f"{where} the name {cue.name} is used twice.")
        latest_s = max(latest_s, cue.start_s)
        names.add(cue.name)
        found += [f"Line {cue.line + 1 + i}: {p}" for i, p in _payload_problems(cue.lines)]
    return found


def cue_blocks(text: str) -> Iterator[Cue]:
    """Yield the cues of a WebVTT file, in the order they stand.

    Raises
    ------
    MatlineError
        If it isn't WebVTT, or a cue's times can't be read; says the line.
    """
    lines = _lines(text)
    if not re.fullmatch(r"WEBVTT(?:[ \t].*)?", lines[0]):
        raise MatlineError("Line 1: a WebVTT file starts with WEBVTT.")
    for first, block in _blocks(lines):
        if not _is_aside(block):
            yield _cue(first, block)


def _lines(text: str) -> list[str]:
    text = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    return text.split("\n")


def _blocks(lines: list[str]) -> Iterator[tuple[int, list[str]]]:
    """Yield each block after the heading, with the number of its first line."""
    block: list[str] = []
    for number, line in enumerate([*lines, ""], start=1):
        if line:
            block.append(line)
            continue
        first = number - len(block)
        if block and first > 1:
            yield first, block
        block = []


def _is_aside(block: list[str]) -> bool:
    """Return whether a block is a comment, a style or a region: those hold no cue."""
    kind = re.match(r"(NOTE|STYLE|REGION)(?:[ \t]|$)", block[0])
    return kind is not None and not any("-->" in line for line in block)


def _cue(first: int, block: list[str]) -> Cue:
    at = 0 if "-->" in block[0] else 1
    name = block[0] if at else ""
    if at >= len(block) or "-->" not in block[at]:
        raise MatlineError(
            f"Line {first}: times are missing; write 00:01:02.000 --> 00:01:05.500 "
            "(an empty line ends a cue)."
        )
    found = _TIMES.fullmatch(block[at])
    if not found:
        raise MatlineError(
            f"Line {first + at}: “{block[at]}” are no times; write 00:01:02.000 --> 00:01:05.500."
        )
    parts = [int(part or 0) for part in found.groups()]
    return Cue(name, _seconds(parts[:4]), _seconds(parts[4:]), block[at + 1 :], first + at)


def _seconds(parts: list[int]) -> float:
    hours, minutes, seconds, milliseconds = parts
    return (hours * 3_600_000 + minutes * 60_000 + seconds * 1000 + milliseconds) / 1000


def _payload_problems(lines: list[str]) -> Iterator[tuple[int, str]]:
    for i, line in enumerate(lines):
        if "-->" in line:
            yield i, "an arrow may not stand in a cue's text."
        if "&" in _REFERENCE.sub("", line):
            yield i, "“&” must be written “&amp;”."
        if "<" in _TAG.sub("", line):
            yield i, "“<” must be written “&lt;”."
