"""All bouts: timelines, measurements and an append-only journal of corrections."""

from pipeline.library.atomic import written_whole
from pipeline.library.backups import Restored
from pipeline.library.bout import Bout
from pipeline.library.damage import Damaged
from pipeline.library.find import find_bout
from pipeline.library.journal import Conflict, Entry
from pipeline.library.library import Library, default_root
from pipeline.library.restore import restore

__all__ = [
    "Bout",
    "Conflict",
    "Damaged",
    "Entry",
    "Library",
    "Restored",
    "default_root",
    "find_bout",
    "restore",
    "written_whole",
]
