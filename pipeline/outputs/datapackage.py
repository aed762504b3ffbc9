"""A bout as a Data Package (datapackage.org): tables with a description that programs read."""

from __future__ import annotations

import hashlib
import json
from dataclasses import fields
from pathlib import Path
from typing import Any

from pipeline.library import Bout, Library, written_whole
from pipeline.library.tables import TIME, write_table
from pipeline.outputs.tabular import moments_to_csv, segments_to_csv
from pipeline.outputs.text import file_stem
from pipeline.timeline import (
    ATHLETES,
    ATTEMPT_SUFFIX,
    MOMENT_KINDS,
    Moment,
    Segment,
    State,
)

_NUMBER = {"type": "number"}
_TIME = {"type": "number", "constraints": {"required": True, "minimum": 0}}
_WHO = {"type": "string", "constraints": {"enum": list(ATHLETES)}}
_KINDS = [kind + suffix for kind in MOMENT_KINDS for suffix in ("", ATTEMPT_SUFFIX)]
FIELDS: dict[str, dict[str, Any]] = {
    "start_s": _TIME | {"description": "Seconds from the first picture of the footage."},
    "peak_s": _TIME | {"description": "Seconds; where it shows most."},
    "end_s": _TIME | {"description": "Seconds; the stretch is half-open."},
    "position": {
        "type": "string",
        "constraints": {"required": True},
        "description": "Position key, with a finer label after a slash.",
    },
    "kind": {
        "type": "string",
        "constraints": {"required": True, "enum": _KINDS},
        "description": "What happened; _attempt: reached, not held.",
    },
    "top": _WHO | {"description": "Who is on top or has the back."},
    "athlete": _WHO | {"description": "Who did it."},
    "strength": _NUMBER | {"description": "Trunk lengths for rise and lift, else seconds held."},
    "confidence": {
        "type": "number",
        "constraints": {"minimum": 0, "maximum": 1},
        "description": "How sure the reader is; 1 for what a person said.",
    },
    "state": {
        "type": "string",
        "constraints": {"enum": [state.value for state in State]},
        "description": "How far a person has been with it.",
    },
    "note": {"type": "string", "description": "A person's note."},
    "evidence": {"type": "string", "description": "The numbers behind it: name=number; …"},
    "id": {"type": "string", "constraints": {"required": True, "unique": True}},
}
"""The Table Schema field of every column of the CSV files."""


def write_package(library: Library, bout_id: str, folder: Path) -> list[Path]:
    """Write a bout as a folder with ``datapackage.json``; return the files, that one last.

    Segments and moments are CSV files that `import_file` reads back; keypoints, features and
    probabilities are Parquet files, indexed by ``time_s``.

    Raises
    ------
    MatlineError
        If the bout has not been read, or the folder can't be written.
    """
    bout, timeline = library.bout(bout_id), library.timeline(bout_id)
    stem = file_stem(bout.title, bout.id)
    texts = {
        "segments": (segments_to_csv(timeline.segments), Segment),
        "moments": (moments_to_csv(timeline.moments), Moment),
    }
    resources, paths = [], []
    for name, (text, kind) in texts.items():
        path = folder / stem / f"{stem}.{name}.csv"
        with written_whole(path) as part:
            part.write_text(text, encoding="utf-8", newline="")
        resources.append(_csv_resource(name, path, kind))
        paths.append(path)
    for name, (table, about) in _measured(library, bout_id).items():
        path = folder / stem / f"{stem}.{name}.parquet"
        write_table(table, path)
        resources.append(_parquet_resource(name, path, about, [str(c) for c in table.columns]))
        paths.append(path)
    path = folder / stem / "datapackage.json"
    with written_whole(path) as part:
        part.write_text(_descriptor(bout, resources), encoding="utf-8")
    return [*paths, path]


def _measured(library: Library, bout_id: str) -> dict[str, tuple[Any, str]]:
    from pipeline.library.tables import keypoint_table

    times, keypoints = library.keypoints(bout_id)
    return {
        "keypoints": (
            keypoint_table(times, keypoints),
            "Both athletes' COCO keypoints: x and y in pixels of the footage, confidence 0–1.",
        ),
        "features": (library.features(bout_id), "Geometry, described in docs/geometry.md."),
        "probabilities": (library.probabilities(bout_id), "How likely each position is."),
    }


def _descriptor(bout: Bout, resources: list[dict[str, Any]]) -> str:
    package = {
        "$schema": "https://datapackage.org/profiles/1.0/datapackage.json",
        "name": f"bout-{bout.id}",
        "title": bout.title,
        "description": "Positions and moments of a grappling bout. Proposals are a study aid; "
        "share them only with the consent of the people in them.",
        "resources": resources,
    }
    return json.dumps(package, ensure_ascii=False, indent=1) + "\n"


def _csv_resource(name: str, path: Path, kind: type[Segment] | type[Moment]) -> dict[str, Any]:
    schema = {
        "fields": [{"name": f.name, **FIELDS[f.name]} for f in fields(kind)],
        "primaryKey": "id",
        "missingValues": [""],
    }
    data = path.read_bytes()
    return {
        "name": name,
        "path": path.name,
        "bytes": len(data),
        "hash": f"sha256:{hashlib.sha256(data).hexdigest()}",
        "profile": "tabular-data-resource",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "dialect": {"lineTerminator": "\r\n"},
        "schema": schema,
    }


def _parquet_resource(name: str, path: Path, about: str, columns: list[str]) -> dict[str, Any]:
    # No size and hash: the reference validator counts neither for Parquet, and then complains.
    fields = [{"name": TIME, **FIELDS["start_s"]}, *({"name": c, **_NUMBER} for c in columns)]
    return {
        "name": name,
        "path": path.name,
        "format": "parquet",
        "mediatype": "application/vnd.apache.parquet",
        "description": about,
        "schema": {"fields": fields, "primaryKey": TIME},
    }
