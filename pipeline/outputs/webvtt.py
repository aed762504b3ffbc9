"""A timeline as WebVTT (W3C), readable by people and players, and back, edited or not.

A cue's first line is a sentence in a fixed form, the lines after it are the note::

    segment-3f2a
    00:01:02.400 --> 00:01:15.000
    half guard / knee shield, A on top, accepted
    underhook on the left

    moment-81c0
    00:01:14.200 --> 00:01:15.600
    moment: sweep by B, peak 00:01:15.000, proposed
"""

from __future__ import annotations

import html
import re
from dataclasses import replace

from pipeline.errors import MatlineError
from pipeline.outputs.text import clock, seconds
from pipeline.outputs.vttcheck import cue_blocks
from pipeline.timeline import BY_KEY, Moment, Segment, State, Timeline, coarse, new_id

_KEYS = {p.name.replace("–", " ").replace("-", " "): p.key for p in BY_KEY.values()}
_NO_LINE = "&nbsp;"
"""Stands for an empty line of a note, which would end the cue."""


def timeline_to_webvtt(timeline: Timeline) -> str:
    """Return segments and moments as cues, ordered by start; passes `webvtt_problems`."""
    cues = [(s.start_s, s.end_s, f"segment-{s.id}", _segment_text(s)) for s in timeline.segments]
    cues += [(m.start_s, m.end_s, f"moment-{m.id}", _moment_text(m)) for m in timeline.moments]
    blocks = ["WEBVTT"]
    for start_s, end_s, name, text in sorted(cues, key=lambda cue: round(cue[0] * 1000)):
        end_s = max(end_s, round(start_s, 3) + 0.001)  # a cue may not be empty, a moment may
        blocks.append(f"{name}\n{clock(start_s)} --> {clock(end_s)}\n{text}")
    return "\n\n".join(blocks) + "\n"


def timeline_from_webvtt(text: str) -> Timeline:
    """Read `timeline_to_webvtt`, edited or not.

    A cue without a name, or with one that was there before, is new. Numbers that WebVTT can't hold
    (confidence, strength, evidence, parts of a millisecond) are not read.

    Raises
    ------
    MatlineError
        Says which line is wrong and what is expected.
    """
    segments: list[Segment] = []
    moments: list[Moment] = []
    seen: set[str] = set()
    for cue in cue_blocks(text):
        try:
            one = _read_cue(cue.start_s, cue.end_s, cue.lines)
        except MatlineError as error:
            raise MatlineError(f"Line {cue.line}: {error}") from error
        id = cue.name.partition("-")[2]
        if id and id not in seen:
            one = replace(one, id=id)
        seen.add(one.id)
        if isinstance(one, Segment):
            segments.append(one)
        else:
            moments.append(one)
    return Timeline(tuple(segments), tuple(moments))


def _segment_text(segment: Segment) -> str:
    finer = segment.position.partition("/")[2]
    words = BY_KEY[coarse(segment.position)].name + (f" / {finer}" if finer else "")
    parts = [words.replace(",", " ")]
    if segment.top:
        parts.append(f"{segment.top} on top")
    return _payload([*parts, segment.state.value], segment.note)


def _moment_text(moment: Moment) -> str:
    by = f" by {moment.athlete}" if moment.athlete else ""
    parts = [f"moment: {moment.kind.replace('_', ' ')}{by}", f"peak {clock(moment.peak_s)}"]
    return _payload([*parts, moment.state.value], moment.note)


def _payload(parts: list[str], note: str) -> str:
    lines = [_plain(", ".join(parts)), *map(_plain, note.splitlines())]
    while not lines[-1]:
        lines.pop()
    # ">" must be escaped too: a line with an arrow would be taken for times.
    return "\n".join(html.escape(line, quote=False) or _NO_LINE for line in lines)


def _plain(line: str) -> str:
    return "".join(c if c.isprintable() else " " for c in line).rstrip()


def _read_cue(start_s: float, end_s: float, lines: list[str]) -> Segment | Moment:
    head = html.unescape(lines[0] if lines else "").strip()
    note = "\n".join("" if line == _NO_LINE else html.unescape(line) for line in lines[1:])
    parts = [part.strip() for part in head.split(",")]
    state = State.CORRECTED
    if len(parts) > 1 and parts[-1].lower() in set(State):
        state = State(parts.pop().lower())
    if parts[0].lower().startswith("moment:"):
        return _read_moment(start_s, end_s, parts, state, note)
    return _read_segment(start_s, end_s, parts, state, note)


def _read_segment(
    start_s: float, end_s: float, parts: list[str], state: State, note: str
) -> Segment:
    words, _, finer = parts[0].partition("/")
    spaced = re.sub(r"[\s_–-]+", " ", words).strip().lower()
    key = _KEYS.get(spaced, spaced.replace(" ", "_")) + (f"/{finer.strip()}" if finer else "")
    top = None
    for part in parts[1:]:
        found = re.fullmatch(r"([ab]) on top", part, re.IGNORECASE)
        if not found:
            raise MatlineError(
                f"“{part}” is not understood; write “A on top”, “B on top” or a state."
            )
        top = found[1].upper()
    return Segment(start_s, end_s, key, top, state=state, note=note, id=new_id())  # type: ignore[arg-type]


def _read_moment(start_s: float, end_s: float, parts: list[str], state: State, note: str) -> Moment:
    found = re.fullmatch(r"moment:\s*(.+?)(?:\s+by\s+([ab]))?", parts[0], re.IGNORECASE)
    if not found:
        raise MatlineError("a moment is written “moment: sweep by A”.")
    peak_s = start_s
    for part in parts[1:]:
        word, _, time = part.partition(" ")
        try:
            peak_s = seconds(time) if word.lower() == "peak" else float("nan")
        except ValueError:
            peak_s = float("nan")
        if peak_s != peak_s:
            raise MatlineError(f"“{part}” is not understood; write “peak 00:01:02.500” or a state.")
    return Moment(
        start_s=start_s,
        peak_s=min(max(peak_s, start_s), end_s),
        end_s=end_s,
        kind=re.sub(r"\s+", "_", found[1].lower()),
        athlete=found[2].upper() if found[2] else None,  # type: ignore[arg-type]
        state=state,
        note=note,
    )
