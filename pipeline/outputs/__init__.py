"""What leaves the library: files for spreadsheets and players, that read back in, edited."""

from pipeline.outputs.files import (
    FORMATS,
    export_bout,
    from_json,
    import_file,
    to_json,
    write_timeline,
)
from pipeline.outputs.tabular import (
    moments_from_csv,
    moments_to_csv,
    segments_from_csv,
    segments_to_csv,
)
from pipeline.outputs.vttcheck import webvtt_problems
from pipeline.outputs.webvtt import timeline_from_webvtt, timeline_to_webvtt

__all__ = [
    "FORMATS",
    "export_bout",
    "from_json",
    "import_file",
    "moments_from_csv",
    "moments_to_csv",
    "segments_from_csv",
    "segments_to_csv",
    "timeline_from_webvtt",
    "timeline_to_webvtt",
    "to_json",
    "webvtt_problems",
    "write_timeline",
]
