"""A night ends with everything read that can be read, and a true account of the rest."""

import os
import shutil
import time
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest

from pipeline.errors import MatlineError
from pipeline.library import Library
from pipeline.overnight import (
    InThisProcess,
    LocalProcesses,
    Order,
    Summary,
    make_plan,
    read_file,
    run_night,
)
from pipeline.overnight.lock import reading_lock
from pipeline.overnight.plan import Plan
from pipeline.settings import OvernightSettings, Settings
from pipeline.timeline import Correction
from tests.overnight import figures
from tests.overnight.figures import FigureReader, make_clip

READER = "tests.overnight.figures:FigureReader"
SETTINGS = Settings(overnight=OvernightSettings(chunk_s=3.0))


@pytest.fixture(scope="module")
def footage(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("footage")
    for number, seconds in enumerate((7, 9, 5)):
        make_clip(folder / f"bout {number}.mp4", seconds)
    return folder


@pytest.fixture
def library(tmp_path) -> Library:
    return Library(tmp_path / "library")


def plan_and_run(library: Library, *asked: Path, engine=None, **changes) -> tuple[Plan, Summary]:
    order = Order(library, SETTINGS, changes.pop("backend", READER), **changes)
    engine = engine or InThisProcess()
    plan = make_plan(order, asked, engine)
    return plan, run_night(order, plan, engine)


def became(summary: Summary) -> list[str]:
    return [file.became for file in summary.files]


def test_a_folder_is_read_into_the_library_in_order(library, footage):
    plan, summary = plan_and_run(library, footage)
    assert plan.duration_s == pytest.approx(21, abs=0.3)
    assert became(summary) == ["read"] * 3
    bouts = library.bouts()
    assert [bout.title for bout in bouts] == ["bout 0", "bout 1", "bout 2"]
    assert summary.files[0].bouts == (bouts[0].id,)
    times, keypoints = library.keypoints(bouts[1].id)
    assert len(times) == 45
    assert np.isfinite(keypoints[..., :2]).all()
    assert library.proposal(bouts[1].id).segments[-1].end_s == pytest.approx(9, abs=0.3)
    assert library.probabilities(bouts[1].id).sum(axis=1).to_numpy() == pytest.approx(1)


def test_pieces_and_one_look_give_the_same_reading(library, footage):
    _, summary = plan_and_run(library, footage / "bout 1.mp4")
    whole = read_file(footage / "bout 1.mp4", FigureReader(), Settings())
    bout = summary.files[0].bouts[0]
    times, keypoints = library.keypoints(bout)
    np.testing.assert_array_equal(times, whole.times)
    np.testing.assert_array_equal(keypoints, whole.keypoints)
    stored = [(s.start_s, s.end_s, s.position, s.top) for s in library.proposal(bout).segments]
    assert stored == [(s.start_s, s.end_s, s.position, s.top) for s in whole.proposal.segments]


def test_a_second_night_reads_nothing_twice(library, footage, monkeypatch):
    plan_and_run(library, footage)
    monkeypatch.setattr(figures.FigureReader, "read", None)  # reading would fail now
    plan, summary = plan_and_run(library, footage)
    assert plan.left_s == 0
    assert became(summary) == ["known"] * 3
    assert len(library.bouts()) == 3


def test_what_was_corrected_is_not_read_over(library, footage):
    _, summary = plan_and_run(library, footage / "bout 0.mp4")
    bout = summary.files[0].bouts[0]
    segment = library.timeline(bout).segments[0]
    library.append(bout, Correction("accept", {"segment": segment.id}))
    order = Order(library, Settings(overnight=OvernightSettings(chunk_s=2.0)), READER)
    plan = make_plan(order, [footage / "bout 0.mp4"], InThisProcess())
    assert became(run_night(order, plan, InThisProcess())) == ["known"]
    assert library.revision(bout) == 1
    _, again = plan_and_run(library, footage / "bout 0.mp4", again=True)
    assert became(again) == ["read"]
    assert again.files[0].bouts == (bout,)


def test_a_moved_file_keeps_its_bout_and_is_not_read_again(library, footage, tmp_path):
    before = Path(shutil.copy(footage / "bout 0.mp4", tmp_path / "card.mp4"))
    _, first = plan_and_run(library, before)
    moved = before.rename(tmp_path / "final.mp4")
    _, second = plan_and_run(library, moved)
    assert became(second) == ["known"]
    assert second.files[0].bouts == first.files[0].bouts
    assert library.bouts()[0].footage == moved


def test_bad_files_fail_with_their_reason_and_the_others_are_read(library, footage, tmp_path):
    (tmp_path / "text.mp4").write_text("no video")
    (tmp_path / "empty.mp4").touch()
    cut = (footage / "bout 2.mp4").read_bytes()[:2000]
    (tmp_path / "cut.mp4").write_bytes(cut)
    asked = [tmp_path / name for name in ("text.mp4", "empty.mp4", "cut.mp4", "gone.mp4")]
    _, summary = plan_and_run(library, *asked, footage / "bout 0.mp4")
    assert became(summary) == ["failed"] * 4 + ["read"]
    assert all(str(file.path.name) in file.why for file in summary.of("failed"))
    assert summary.lines()[-1] == "5 files: 1 read, 4 failed."
    assert sum("NOT READ" in line for line in summary.lines()) == 4


class Vanishing(FigureReader):
    """Removes the file while its first piece is read."""

    victim: Path

    def read(self, image, region=None):
        self.victim.unlink(missing_ok=True)
        return super().read(image, region)


class Growing(Vanishing):
    """Adds to the file while its first piece is read, as a copy in progress does."""

    def read(self, image, region=None):
        with self.victim.open("ab") as file:
            file.write(bytes(1000))
        return FigureReader.read(self, image, region)


@pytest.mark.parametrize(
    ("reader", "complaint"), [("Vanishing", "can't be read any more"), ("Growing", "it changed")]
)
def test_a_file_that_changes_under_our_hands_is_not_half_read(
    library, footage, tmp_path, reader, complaint
):
    victim = Path(shutil.copy(footage / "bout 0.mp4", tmp_path / "copying.mp4"))
    globals()[reader].victim = victim
    _, summary = plan_and_run(library, victim, backend=f"{__name__}:{reader}")
    assert became(summary) == ["failed"]
    assert complaint in summary.files[0].why
    assert library.bouts() == []


@pytest.mark.parametrize("kept", [0, 100])
def test_a_piece_damaged_by_a_power_cut_is_read_again(library, footage, kept):
    plan_and_run(library, footage / "bout 1.mp4")
    before = library.keypoints(library.bouts()[0].id)[1]
    pieces = sorted((library.root / "chunks").rglob("*.npz"))
    pieces[1].write_bytes(pieces[1].read_bytes()[:kept])
    _, summary = plan_and_run(library, footage / "bout 1.mp4", again=True)
    assert became(summary) == ["read"]
    np.testing.assert_array_equal(library.keypoints(library.bouts()[0].id)[1], before)


def test_the_next_plan_is_estimated_by_what_was_measured(library, footage, tmp_path):
    first, _ = plan_and_run(library, footage / "bout 0.mp4")
    second, _ = plan_and_run(library, make_clip(tmp_path / "new.mp4", 4))
    assert second.speed != first.speed
    assert second.expected_s(2) == pytest.approx(4 / second.speed / 2, rel=0.05)
    (library.root / "speeds.json").write_text("[1")  # an estimate is not worth an error
    assert plan_and_run(library, tmp_path)[0].speed == first.speed


def test_when_the_time_is_up_nothing_new_is_begun_and_the_rest_is_for_tomorrow(library, footage):
    _, summary = plan_and_run(library, footage, until=time.time() - 1)
    assert became(summary) == ["unfinished"] * 3
    _, summary = plan_and_run(library, footage, until=time.time() + 3600)
    assert became(summary) == ["read"] * 3


def test_two_runs_on_one_library_do_not_mix(library, footage):
    with reading_lock(library.root), pytest.raises(MatlineError, match=f"process {os.getpid()}"):
        plan_and_run(library, footage)
    assert became(plan_and_run(library, footage)[1]) == ["read"] * 3


def test_a_night_that_would_fill_the_disk_is_refused_before_it_begins(
    library, footage, monkeypatch
):
    usage = shutil.disk_usage(library.root)._replace(free=1000)
    monkeypatch.setattr("pipeline.overnight.plan.shutil.disk_usage", lambda _: usage)
    with pytest.raises(MatlineError, match="make room"):
        plan_and_run(library, footage)


def test_eight_files_two_of_them_bad_end_in_a_true_account(library, tmp_path):
    clips = [make_clip(tmp_path / f"{i}.mp4", 3 + i, poisoned=i == 2) for i in range(8)]
    clips[5].write_bytes(clips[5].read_bytes()[:1500])
    with closing(LocalProcesses(2)) as engine:
        backend = "tests.overnight.figures:PoisonedReader"
        _, summary = plan_and_run(library, tmp_path, engine=engine, backend=backend)
    expected = ["failed" if i in (2, 5) else "read" for i in range(8)]
    assert became(summary) == expected
    assert "signal 11" in summary.files[2].why
    assert "5.mp4" in summary.files[5].why
    read = [f"{i}.mp4" for i in range(8) if i not in (2, 5)]
    assert sorted(bout.footage.name for bout in library.bouts()) == read
    assert summary.lines()[-1] == "8 files: 6 read, 2 failed."


def test_files_folders_and_patterns_are_found_once_in_the_order_asked_for(library, tmp_path):
    for name in ("b/2.mp4", "b/1.MOV", "b/.hidden.mp4", "b/notes.txt", "a.mkv"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).touch()
    asked = [tmp_path / "a.mkv", tmp_path / "b", str(tmp_path / "*/*.mp4")]
    order = Order(library, SETTINGS, READER)
    plan = make_plan(order, asked, InThisProcess())
    assert [file.path.name for file in plan.files] == ["a.mkv", "1.MOV", "2.mp4"]
