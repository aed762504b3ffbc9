"""A bout's timeline → files, and an edited file → corrections in its journal."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pipeline.errors import MatlineError
from pipeline.library import Bout, Library, written_whole
from pipeline.library.atomic import check_folder
from pipeline.outputs.datapackage import write_package
from pipeline.outputs.edits import corrections_between
from pipeline.outputs.opentimeline import timeline_from_otio, timeline_to_otio
from pipeline.outputs.tabular import (
    holds_moments,
    moments_from_csv,
    moments_to_csv,
    segments_from_csv,
    segments_to_csv,
)
from pipeline.outputs.text import bad_file, file_stem
from pipeline.outputs.webvtt import timeline_from_webvtt, timeline_to_webvtt
from pipeline.text import printable
from pipeline.timeline import Correction, Timeline
from pipeline.timeline.records import timeline_from_dict, timeline_to_dict

MAX_BYTES = 32 << 20
"""The largest file that is read back; a bout of hours has well under a megabyte."""

_JSON_KIND = "matline timeline"


@dataclass(frozen=True)
class Format:
    """One file format, both ways.

    Attributes
    ----------
    suffix : str
        End of the file's name.
    write : callable
        ``(bout or None, timeline) -> text``
    read : callable
        ``(text, current timeline) -> timeline``; what the format doesn't hold is `current`'s.
    """

    suffix: str
    write: Callable[[Bout | None, Timeline], str]
    read: Callable[[str, Timeline], Timeline]


def to_json(bout: Bout | None, timeline: Timeline) -> str:
    """Return bout and timeline as JSON; the only format here that holds everything."""
    about = {"bout": _about(bout)} if bout else {}
    data = {"kind": _JSON_KIND, "version": 1} | about | timeline_to_dict(timeline)
    return json.dumps(data, ensure_ascii=False, allow_nan=False, indent=1) + "\n"


def _about(bout: Bout) -> dict[str, Any]:
    return {
        "id": bout.id,
        "title": bout.title,
        "footage": printable(bout.footage.name),
        "start_s": bout.start_s,
        "end_s": bout.end_s,
        "names": bout.names,
        "we": bout.we,
        "event": bout.event,
        "date": bout.date,
        "ruleset": bout.ruleset,
        "reader": bout.reader,
    }


def from_json(text: str) -> Timeline:
    """Read `to_json`, or any JSON object with segments and moments."""
    try:
        data: Any = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise MatlineError(f"it isn't JSON: {error}.") from error
    if not isinstance(data, Mapping) or not {"segments", "moments"} & set(data):
        raise MatlineError("it holds neither segments nor moments.")
    if data.get("version", 1) != 1:
        raise MatlineError(f"it is of version {data['version']}, this matline reads version 1.")
    return timeline_from_dict(data)


FORMATS: dict[str, tuple[Format, ...]] = {
    "csv": (
        Format(
            ".segments.csv",
            lambda bout, timeline: segments_to_csv(timeline.segments),
            lambda text, current: current.with_segments(segments_from_csv(text, current.segments)),
        ),
        Format(
            ".moments.csv",
            lambda bout, timeline: moments_to_csv(timeline.moments),
            lambda text, current: current.with_moments(moments_from_csv(text, current.moments)),
        ),
    ),
    "vtt": (
        Format(
            ".vtt",
            lambda bout, timeline: timeline_to_webvtt(timeline),
            lambda text, current: timeline_from_webvtt(text),
        ),
    ),
    "json": (Format(".json", to_json, lambda text, current: from_json(text)),),
    "otio": (Format(".otio", timeline_to_otio, lambda text, current: timeline_from_otio(text)),),
}
"""What `matline export --format` knows; a format may be several files."""

PACKAGE = "package"
"""And this one: a folder with all tables of a bout and their description."""


def export_bout(library: Library, bout_id: str, folder: Path, formats: list[str]) -> list[Path]:
    """Write a bout's timeline as it stands; return the files written.

    Raises
    ------
    MatlineError
        If a format is unknown, the bout has not been read, or the folder can't be written.
    """
    check_folder(folder)
    bout, timeline = library.bout(bout_id), library.timeline(bout_id)
    texts = [name for name in formats if name != PACKAGE]
    paths = write_timeline(timeline, file_stem(bout.title, bout.id), folder, texts, bout)
    return paths + (write_package(library, bout_id, folder) if PACKAGE in formats else [])


def write_timeline(
    timeline: Timeline, stem: str, folder: Path, formats: list[str], bout: Bout | None = None
) -> list[Path]:
    """Write a timeline in each format; return the files written.

    Parameters
    ----------
    stem : str
        What the files' names begin with.
    bout : Bout, optional
        What it is of, where it is in a library.

    Raises
    ------
    MatlineError
        If a format is unknown or the folder can't be written.
    """
    unknown = [name for name in formats if name not in FORMATS]
    if unknown:
        known = ", ".join([*FORMATS, PACKAGE])
        raise MatlineError(f"Unknown format {', '.join(unknown)}; use {known}.")
    # All texts before the first file: a format that can't be written leaves no half of an export.
    texts = {
        folder / f"{stem}{form.suffix}": form.write(bout, timeline)
        for name in formats
        for form in FORMATS[name]
    }
    for path, text in texts.items():
        with written_whole(path) as part:
            part.write_text(text, encoding="utf-8", newline="")
    return list(texts)


def import_file(library: Library, path: Path, bout_id: str | None = None) -> list[Correction]:
    """Put what was edited in a file into the journal of its bout, all of it or nothing.

    Parameters
    ----------
    path : Path
        A CSV, WebVTT or JSON file as `export_bout` writes it, edited.
    bout_id : str, optional
        By default the bout whose id ends the file's name.

    Returns
    -------
    list of Correction
        What was made; empty if the file says what the timeline says.

    Raises
    ------
    MatlineError
        If the file can't be read, or doesn't fit; nothing is changed then.
    """
    text = _text(path)
    bout = library.bout(bout_id) if bout_id else _bout_of(library, path)
    form = _format_of(path, text)
    revision, current = library.revision(bout.id), library.timeline(bout.id)
    try:
        after = form.read(text, current)
    except MatlineError as error:
        raise bad_file(path, error) from error
    before = form.read(form.write(bout, current), current)
    found = corrections_between(before, after, current)
    try:
        library.append_all(bout.id, found, expected_revision=revision)
    except MatlineError as error:
        raise bad_file(path, error) from error
    return found


def _text(path: Path) -> str:
    try:
        if path.stat().st_size > MAX_BYTES:
            raise MatlineError(f"{path} is larger than any timeline; is it the right file?")
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise MatlineError(
            f"{path} isn't UTF-8 text (byte {error.start}); save it as UTF-8 and try again."
        ) from error
    except OSError as error:
        raise MatlineError(f"Can't read {path}: {error.strerror}.") from error


def _format_of(path: Path, text: str) -> Format:
    suffix = path.suffix.lower()
    if suffix == ".csv":
        return FORMATS["csv"][1 if holds_moments(text) else 0]
    if suffix not in (".vtt", ".json", ".otio"):
        raise MatlineError(f"{path}: its name must end in .csv, .vtt, .json or .otio.")
    return FORMATS[suffix[1:]][0]


def _bout_of(library: Library, path: Path) -> Bout:
    stem = path.name.split(".")[0]
    for bout in library.bouts():
        if stem == bout.id or stem.endswith(f"-{bout.id}"):
            return bout
    raise MatlineError(
        f"{path}: its name doesn't say which bout it is of; say it with --bout "
        "(`matline bouts` lists them)."
    )
