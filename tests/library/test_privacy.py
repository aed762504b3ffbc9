"""Nobody else on the machine can look at the people in a library."""

from __future__ import annotations

import os
import stat
from pathlib import Path

import pytest

from pipeline.library import Library, written_whole
from pipeline.review.keeping import Keeping, Spent
from tests.library.test_library import accept, save

pytestmark = pytest.mark.skipif(os.name != "posix", reason="access is told otherwise here")


@pytest.fixture(autouse=True)
def usual_umask():
    before = os.umask(0o022)
    yield
    os.umask(before)


def open_to_others(root: Path) -> list[str]:
    """Return what others may read, by its name in the library."""
    paths = [root, *root.rglob("*")]
    return sorted(str(p.relative_to(root)) for p in paths if stat.S_IMODE(p.stat().st_mode) & 0o077)


def used_library(root: Path) -> Library:
    library = Library(root)
    bout = save(library)
    library.append(bout, accept("s1"))
    keeping = Keeping(root / "review")
    keeping.add(bout, Spent(1.0, 1, 1))
    keeping.set_score(bout, [])
    with written_whole(root / "chunks" / "a" / "piece.npz") as part:
        part.write_bytes(b"read")
    return library


def test_a_new_library_can_be_read_by_its_owner_only(tmp_path):
    library = used_library(tmp_path / "library")
    with library._database.writing():  # its write-ahead log lies beside it meanwhile
        assert open_to_others(library.root) == []


def test_what_an_earlier_version_left_open_is_closed(tmp_path):
    root = used_library(tmp_path / "library").root
    for path in (root, *root.rglob("*")):
        path.chmod(0o755 if path.is_dir() else 0o644)
    assert len(open_to_others(root)) > 8
    Library(root)
    assert open_to_others(root) == []


def test_a_folder_with_something_else_in_it_is_not_taken_from_others(tmp_path):
    (tmp_path / "holiday.mp4").touch(mode=0o644)
    tmp_path.chmod(0o755)
    used_library(tmp_path)
    assert open_to_others(tmp_path) == [".", "holiday.mp4"]


def test_what_is_written_elsewhere_stays_as_the_user_has_it(tmp_path):
    tmp_path.chmod(0o755)
    with written_whole(tmp_path / "out" / "notes.csv") as part:
        part.write_text("for the club")
    assert stat.S_IMODE((tmp_path / "out" / "notes.csv").stat().st_mode) == 0o644
    assert stat.S_IMODE((tmp_path / "out").stat().st_mode) == 0o755
