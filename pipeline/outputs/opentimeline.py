"""A bout as OpenTimelineIO (opentimeline.io), for editing programs; and back.

One video track has a clip a segment, with gaps between; moments are the track's markers. What
OpenTimelineIO has no word for is in the metadata under ``matline``.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from pipeline.errors import MatlineError
from pipeline.library import Bout
from pipeline.timeline import Moment, Segment, Timeline, position
from pipeline.timeline.records import timeline_from_dict

if TYPE_CHECKING:
    import opentimelineio as otio

RATE = 1000.0
"""Units a second; values have three decimals, so that times hold to a microsecond. The footage's
own picture rate would not do: it may vary."""

_KEY = "matline"
_TRACK = "positions"
_NO_TIMELINE = (ValueError, TypeError, AttributeError, ArithmeticError, RecursionError)
"""How the library fails on values that it didn't expect."""


def timeline_to_otio(bout: Bout | None, timeline: Timeline) -> str:
    """Return the timeline as the JSON text of an ``.otio`` file.

    Raises
    ------
    MatlineError
        If the optional package opentimelineio is not installed.
    """
    otio = _otio()
    track = otio.schema.Track(name=_TRACK, kind=otio.schema.TrackKind.Video)
    reached_s = 0.0
    for segment in timeline.segments:
        if segment.start_s - reached_s > 1e-6:
            track.append(otio.schema.Gap(source_range=_range(reached_s, segment.start_s)))
        track.append(_clip(segment, bout))
        reached_s = segment.end_s
    track.markers.extend(_marker(moment) for moment in timeline.moments)
    film = otio.schema.Timeline(name=bout.title if bout else "")
    film.tracks.append(track)
    return str(otio.adapters.write_to_string(film, "otio_json"))


def timeline_from_otio(text: str) -> Timeline:
    """Read `timeline_to_otio`, also after an editing program has cut or moved it.

    A clip's place in the footage says where its segment is, wherever the clip lies on the track.
    A clip that has no matline metadata is a segment if its name is a position.

    Raises
    ------
    MatlineError
        If it isn't OpenTimelineIO, or a clip or marker can't be told.
    """
    otio = _otio()
    try:
        film = otio.adapters.read_from_string(text, "otio_json")
        segments = [_segment_row(clip) for clip in film.find_clips()]
        moments = [_moment_row(marker) for marker in _markers(film)]
        rows = {"segments": _own_ids(segments), "moments": _own_ids(moments)}
    except (otio.exceptions.OTIOError, *_NO_TIMELINE) as error:
        raise MatlineError(f"it isn't an OpenTimelineIO timeline: {error}.") from error
    return timeline_from_dict(rows)


def _clip(segment: Segment, bout: Bout | None) -> otio.schema.Clip:
    otio = _otio()
    media = otio.schema.MissingReference()
    if bout is not None:
        whole = _range(0.0, max(bout.duration_s, segment.end_s))
        media = otio.schema.ExternalReference(bout.footage.as_uri(), whole)
    row = asdict(segment) | {"state": segment.state.value}
    del row["start_s"], row["end_s"]
    return otio.schema.Clip(
        name=_name(segment),
        media_reference=media,
        source_range=_range(segment.start_s, segment.end_s),
        metadata={_KEY: row},
    )


def _marker(moment: Moment) -> otio.schema.Marker:
    otio = _otio()
    row = asdict(moment) | {"state": moment.state.value}
    row["peak_after_s"] = moment.peak_s - moment.start_s
    del row["start_s"], row["end_s"], row["peak_s"]
    return otio.schema.Marker(
        name=moment.kind.replace("_", " "),
        marked_range=_range(moment.start_s, moment.end_s),
        color=otio.schema.MarkerColor.GREEN,
        metadata={_KEY: row},
    )


def _markers(film: otio.schema.Timeline) -> Iterator[otio.schema.Marker]:
    for track in film.tracks:
        yield from track.markers


def _segment_row(clip: otio.schema.Clip) -> dict[str, Any]:
    where = clip.trimmed_range()
    row = _metadata(clip) or {"position": clip.name.strip().replace(" ", "_")}
    return row | {
        "start_s": _seconds(where.start_time),
        "end_s": _seconds(where.end_time_exclusive()),
    }


def _moment_row(marker: otio.schema.Marker) -> dict[str, Any]:
    where = marker.marked_range
    row = _metadata(marker) or {"kind": marker.name.strip().replace(" ", "_")}
    start_s, end_s = _seconds(where.start_time), _seconds(where.end_time_exclusive())
    peak_s = min(end_s, max(start_s, start_s + float(row.pop("peak_after_s", 0.0))))
    return row | {"start_s": start_s, "peak_s": round(peak_s, 6), "end_s": end_s}


def _metadata(thing: Any) -> dict[str, Any]:
    data = thing.metadata.get(_KEY, {})
    row = {str(name): value for name, value in data.items()}
    if isinstance(row.get("evidence"), Mapping):
        row["evidence"] = {str(k): float(v) for k, v in row["evidence"].items()}
    return row


def _own_ids(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Drop an id that was there before: a program that cuts a clip copies its metadata."""
    seen: set[str] = set()
    for row in rows:
        if row.get("id") in seen:
            del row["id"]
        seen.add(row.get("id", ""))
    return rows


def _name(segment: Segment) -> str:
    fine = segment.position.partition("/")[2]
    top = f"{segment.top} on top" if segment.top else ""
    return ", ".join(filter(None, (position(segment.position).name, fine, top)))


def _range(start_s: float, end_s: float) -> otio.opentime.TimeRange:
    otio = _otio()
    time = otio.opentime.RationalTime
    # The length of rounded times, not a rounded length: what touched before still touches.
    start, end = round(start_s * RATE, 3), round(end_s * RATE, 3)
    return otio.opentime.TimeRange(time(start, RATE), time(round(end - start, 3), RATE))


def _seconds(time: otio.opentime.RationalTime) -> float:
    return round(time.value / time.rate, 6)


def _otio() -> Any:
    try:
        import opentimelineio
    except ImportError as error:
        raise MatlineError(
            "OpenTimelineIO files need the optional package opentimelineio; "
            "install it with pip install 'matline[otio]'."
        ) from error
    return opentimelineio
