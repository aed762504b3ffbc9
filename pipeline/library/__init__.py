"""All bouts: timelines, measurements and an append-only journal of corrections."""

from pipeline.library.atomic import written_whole
from pipeline.library.bout import Bout
from pipeline.library.find import find_bout
from pipeline.library.journal import Conflict, Entry
from pipeline.library.library import Library, default_root

__all__ = ["Bout", "Conflict", "Entry", "Library", "default_root", "find_bout", "written_whole"]
