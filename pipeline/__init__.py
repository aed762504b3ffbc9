"""Matline reads footage of grappling bouts into a timeline that a human corrects in minutes.

What a notebook needs first is here; everything else is in the rooms below. Nothing is loaded
before it is used::

    from pipeline import Library, compare, make_reader, read_file
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pipeline.bodies import make_reader
    from pipeline.errors import MatlineError
    from pipeline.footage import Footage
    from pipeline.library import Library
    from pipeline.outputs import segments_from_csv
    from pipeline.outputs.study import Selection, Study, select
    from pipeline.overnight import read_file
    from pipeline.timeline import Moment, Segment, State, Timeline
    from pipeline.timeline.compare import compare, compare_all

_PLACES = {
    "Footage": "pipeline.footage",
    "Library": "pipeline.library",
    "MatlineError": "pipeline.errors",
    "Moment": "pipeline.timeline",
    "Segment": "pipeline.timeline",
    "Selection": "pipeline.outputs.study",
    "State": "pipeline.timeline",
    "Study": "pipeline.outputs.study",
    "Timeline": "pipeline.timeline",
    "compare": "pipeline.timeline.compare",
    "compare_all": "pipeline.timeline.compare",
    "make_reader": "pipeline.bodies",
    "read_file": "pipeline.overnight",
    "segments_from_csv": "pipeline.outputs",
    "select": "pipeline.outputs.study",
}

__all__ = [
    "Footage",
    "Library",
    "MatlineError",
    "Moment",
    "Segment",
    "Selection",
    "State",
    "Study",
    "Timeline",
    "compare",
    "compare_all",
    "make_reader",
    "read_file",
    "segments_from_csv",
    "select",
]


def __getattr__(name: str) -> Any:
    if name not in _PLACES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(_PLACES[name]), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
