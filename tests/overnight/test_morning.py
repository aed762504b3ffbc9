"""In the morning the page tells the same truth as the terminal, also after a night broken off."""

import pytest

from pipeline.library import Library
from pipeline.overnight import InThisProcess, last_summary
from pipeline.overnight.engine import Outcome
from pipeline.review.night import last_night
from tests.overnight.figures import make_clip
from tests.overnight.test_night import plan_and_run


@pytest.fixture
def library(tmp_path) -> Library:
    return Library(tmp_path / "library")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("night")
    make_clip(folder / "a.mp4", 4)
    make_clip(folder / "b.mp4", 5)
    (folder / "c.mp4").write_text("no video")
    return folder


def test_the_page_s_summary_holds_the_terminal_s_facts_in_its_order(library, folder):
    _, summary = plan_and_run(library, folder)
    assert last_summary(library.root).summary == summary  # read back as it was kept
    night = last_night(library)
    assert night.ended
    assert night.total == summary.lines()[-1] == "3 files: 2 read, 1 failed."
    for file, line in zip(night.files, summary.lines(), strict=False):
        assert line.startswith(file.name)
        assert line.endswith(file.facts)
    assert [file.became for file in night.files] == ["read", "read", "failed"]
    assert "c.mp4" in night.files[-1].facts
    removed = summary.files[0].bouts[0]
    library.remove_bout(removed)
    assert removed not in [bout.id for file in last_night(library).files for bout in file.bouts]


class Stopped(InThisProcess):
    """Is stopped while the second file is read: after 3 looks, and 3 tasks of the first."""

    calls = 0

    def finished(self, timeout_s: float) -> list[Outcome]:
        self.calls += 1
        if self.calls > 7:
            raise KeyboardInterrupt
        return super().finished(timeout_s)


def test_a_night_broken_off_says_how_far_it_came(library, folder):
    with pytest.raises(KeyboardInterrupt):
        plan_and_run(library, folder, engine=Stopped())
    night = last_night(library)
    assert not night.ended
    assert sorted(file.became for file in night.files) == ["failed", "read", "unfinished"]


def test_a_damaged_summary_is_no_reason_not_to_open_the_page(library, folder):
    plan_and_run(library, folder)
    for text in ("", "[]", '{"at": 1}', '{"at": "", "ended": true, "files": [{"path": "x"}]}'):
        (library.root / "last_night.json").write_text(text)
        assert last_night(library) is None
