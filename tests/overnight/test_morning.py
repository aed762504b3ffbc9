"""In the morning the page tells the same truth as the terminal, also after a night broken off."""

import pytest

from pipeline.footage import Footage, needs_proxy
from pipeline.library import Library
from pipeline.overnight import InThisProcess, last_summary
from pipeline.overnight.engine import Outcome
from pipeline.overnight.morning import keep_summary
from pipeline.overnight.spots import spots
from pipeline.overnight.summary import FileOutcome, Summary
from pipeline.review.copies import Copies
from pipeline.review.night import last_night
from pipeline.timeline import Moment, Segment, Timeline
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
    lines = [line for line in summary.lines()[:-1] if not line.startswith(" ")]
    for file, line in zip(night.files, lines, strict=True):
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


def segment(start_s, end_s, confidence, position="half_guard"):
    top = None if position == "standing" else "A"
    return Segment(start_s, end_s, position, top, confidence=confidence)


def moment(start_s, kind, confidence=0.9):
    return Moment(start_s, start_s + 1, start_s + 2, kind, "B", confidence=confidence)


TIMELINE = Timeline(
    (
        segment(0, 40, 0.95, "standing"),
        segment(40, 43, 0.3),
        segment(43, 400, 0.55, "mount"),
        segment(400, 3700, 0.8),
    ),
    (moment(50, "sweep"), moment(90, "sweep_attempt"), moment(3661, "lift"), moment(1, "rise")),
)


def test_what_to_open_is_named_elevations_and_scoring_moments_first():
    # By the definitions: an attempt is neither, and a segment under 0.6 is one to look at.
    found = spots("id", TIMELINE)
    assert [(s.why, s.time_s, s.what) for s in found] == [
        ("elevation", 2, "rise by B"),
        ("elevation", 3662, "lift by B"),
        ("scoring", 51, "sweep by B"),
        ("unsure", 40, "half guard?"),
        ("unsure", 43, "mount?"),
    ]
    assert [s.at_s for s in found] == [0, 3659, 48, 40, 43]  # a little before, so one sees it come


def test_the_terminal_says_when_and_the_kept_summary_reads_back(tmp_path):
    file = FileOutcome(tmp_path / "a.mp4", "read", bouts=("id",), spots=spots("id", TIMELINE))
    lines = Summary((file,)).lines()
    assert lines[1:4] == [
        "    elevations: 0:02 rise by B, 1:01:02 lift by B",
        "    scoring moments: 0:51 sweep by B",
        "    look first at: 0:40 half guard?, 0:43 mount?",
    ]
    keep_summary(tmp_path, Summary((file,)), ended=True)
    assert last_summary(tmp_path).summary == Summary((file,))


def test_of_many_doubtful_segments_those_are_named_whose_look_pays_most():
    unsure = [segment(10 * i, 10 * i + 9, 0.59 - 0.05 * (i % 4)) for i in range(12)]
    found = [s.time_s for s in spots("id", Timeline(tuple(unsure))) if s.why == "unsure"]
    assert found == [20, 30, 60, 70, 110]  # the three least sure, then two of the next


def test_in_the_morning_the_page_plays_at_once_what_browsers_could_not(library, tmp_path):
    # Browsers don't play Matroska; H.264 in MP4 they do.
    odd, plain = make_clip(tmp_path / "odd.mkv", 4), make_clip(tmp_path / "plain.mp4", 5)
    plan, _ = plan_and_run(library, odd, plain)
    assert [file.copied for file in plan.files] == [True, False]
    bouts = {bout.footage.name: bout for bout in library.bouts()}
    assert bouts["plain.mp4"].proxy is None
    assert Copies(library).playing(bouts["odd.mkv"]).state == "ready"
    copy = Footage.open(bouts["odd.mkv"].proxy)
    assert not needs_proxy(copy.info)
    assert copy.info.duration_s == pytest.approx(4, abs=0.2)
    again, _ = plan_and_run(library, odd, plain)
    assert [file.copied for file in again.files] == [False, False]


def test_a_copy_that_cannot_be_made_spoils_no_night(library, tmp_path):
    copies = library.root / "copies"
    copies.rmdir()
    copies.write_text("a file where a folder should be")
    _, summary = plan_and_run(library, make_clip(tmp_path / "odd.mkv", 4))
    assert [file.became for file in summary.files] == ["read"]
    assert last_summary(library.root).ended


def test_without_copies_none_is_made(library, tmp_path):
    plan_and_run(library, make_clip(tmp_path / "odd.mkv", 4), copies=False)
    assert list((library.root / "copies").iterdir()) == []
