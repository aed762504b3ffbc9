"""Nothing read or corrected is lost, whoever writes at the same time."""

import os
import signal
import sqlite3
import subprocess
import sys
import threading
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.errors import MatlineError
from pipeline.library import Conflict, Library
from pipeline.timeline import Correction, Moment, Segment, Timeline
from tests.library.test_corrections import BOUT, corrections

TIMES = np.arange(0, 40, 0.2)


def keypoints() -> np.ndarray:
    values = np.random.default_rng(7).random((len(TIMES), 2, 17, 3), dtype=np.float32)
    values[3, 1] = np.nan
    return values


def save(library: Library, proposal: Timeline = BOUT) -> str:
    bout = library.add_bout(Path("bout.mp4"), 40.0, title="Final", content_key="key")
    table = pd.DataFrame({"standing": 1.0}, index=pd.Index(TIMES, name="time_s"))
    library.save_reading(
        bout.id, TIMES, keypoints(), table, table, proposal, reader="test", settings_hash="h"
    )
    return bout.id


@pytest.fixture
def library(tmp_path: Path) -> Library:
    return Library(tmp_path / "library")


def accept(id: str) -> Correction:
    return Correction("accept", {"segment": id})


def test_a_library_opened_again_holds_what_was_read_and_corrected(library):
    bout = save(library)
    library.append(bout, accept("s1"))
    again = Library(library.root)
    times, stored = again.keypoints(bout)
    np.testing.assert_array_equal(times, TIMES)
    np.testing.assert_array_equal(stored, keypoints())
    assert again.proposal(bout) == BOUT
    assert again.timeline(bout) == library.timeline(bout)
    assert again.bout(bout).counts == {"proposed": 5, "accepted": 1, "corrected": 0}
    assert (again.bout(bout).reader, again.bout(bout).settings_hash) == ("test", "h")
    assert again.features(bout).index.name == "time_s"
    assert list(again.probabilities(bout).columns) == ["standing"]
    assert again.scores(bout) is None


def test_what_the_reader_itself_said_of_positions_is_kept(library):
    bout = save(library)
    table = pd.DataFrame({"standing": 1.0}, index=pd.Index(TIMES, name="time_s"))
    scores = pd.DataFrame({"mount": np.linspace(0, 1, len(TIMES))}, index=table.index)
    scores.iloc[3] = np.nan
    library.save_reading(bout, TIMES, keypoints(), table, table, BOUT, scores=scores)
    pd.testing.assert_frame_equal(Library(library.root).scores(bout), scores)
    named = scores.rename(columns={"mount": "mount/A"}).assign(**{"mount/B": 0.25, "standing": 0.5})
    library.save_reading(bout, TIMES, keypoints(), table, table, BOUT, scores=named)
    library.append(bout, Correction("swap_athletes", {"from_s": 20.0}))
    before, after = (library.scores(bout).loc[part] for part in (slice(0, 19.9), slice(20, 40)))
    pd.testing.assert_frame_equal(before, named.loc[:19.9])
    assert after["mount/A"].eq(0.25).all()
    np.testing.assert_array_equal(after["mount/B"], named["mount/A"].loc[20:])
    assert after["standing"].eq(0.5).all()


def test_details_are_kept_and_unknown_ones_refused(library):
    bout = save(library)
    library.update_bout(bout, names={"A": "Ada"}, we="A", date="2031-05-04")
    library.update_bout(bout, names={"B": "Bo"})
    known = library.bout(bout)
    assert (known.names, known.we, known.date) == ({"A": "Ada", "B": "Bo"}, "A", "2031-05-04")
    with pytest.raises(MatlineError, match="no “colour”"):
        library.update_bout(bout, colour="blue")
    with pytest.raises(MatlineError, match="A, B or nobody"):
        library.update_bout(bout, we="C")


def test_a_moved_file_is_found_by_its_content(library):
    bout = save(library)
    assert [b.id for b in library.find("key")] == [bout]
    assert library.find("key", start_s=12.0) == []


def test_the_second_of_two_windows_is_told_and_overwrites_nothing(library):
    bout = save(library)
    other_window = Library(library.root)
    assert library.append(bout, accept("s1"), expected_revision=0) == 1
    with pytest.raises(Conflict, match="changed elsewhere"):
        other_window.append(bout, accept("s2"), expected_revision=0)
    assert other_window.append(bout, accept("s2"), expected_revision=1) == 2
    assert library.bout(bout).counts["accepted"] == 2


def test_a_correction_that_does_not_fit_leaves_no_trace(library):
    bout = save(library)
    with pytest.raises(MatlineError, match="No segment"):
        library.append(bout, accept("gone"))
    assert (library.revision(bout), library.timeline(bout)) == (0, BOUT)


def test_undo_and_redo_have_no_end_and_survive_a_restart(library):
    bout = save(library)
    for id in ("s1", "s2", "s3"):
        library.append(bout, accept(id))
    for _ in range(3):
        Library(library.root).undo(bout)
    assert library.timeline(bout) == BOUT
    with pytest.raises(MatlineError, match="nothing to undo"):
        library.undo(bout)
    for _ in range(3):
        Library(library.root).redo(bout)
    assert library.bout(bout).counts["accepted"] == 3
    assert [e.kind for e in library.journal(bout)] == ["correction"] * 3 + ["undo"] * 3 + [
        "redo"
    ] * 3


def test_after_a_new_correction_there_is_nothing_to_redo(library):
    bout = save(library)
    library.append(bout, accept("s1"))
    library.undo(bout)
    assert library.can_undo_redo(bout) == (False, True)
    library.append(bout, accept("s2"))
    with pytest.raises(MatlineError, match="nothing to redo"):
        library.redo(bout)


@settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(data=st.data())
def test_replaying_the_journal_gives_the_timeline_and_undo_gives_it_back(tmp_path, data):
    library = Library(tmp_path / data.draw(st.uuids()).hex)
    bout = save(library)
    states = [BOUT]
    for _ in range(data.draw(st.integers(1, 12))):
        try:
            library.append(bout, data.draw(corrections(states[-1])))
        except MatlineError:
            continue
        states.append(library.timeline(bout))
    assert Library(library.root).timeline(bout) == states[-1]
    for expected in reversed(states[:-1]):
        library.undo(bout)
        assert library.timeline(bout) == expected
    for expected in states[1:]:
        Library(library.root).redo(bout)
        assert library.timeline(bout) == expected


def test_skeletons_follow_a_swap_of_athletes_and_its_undo(library):
    bout = save(library)
    library.append(bout, Correction("swap_athletes", {"from_s": 10.0}))
    _, swapped = library.keypoints(bout)
    later = TIMES >= 10.0
    np.testing.assert_array_equal(swapped[~later], keypoints()[~later])
    np.testing.assert_array_equal(swapped[later], keypoints()[later][:, ::-1])
    np.testing.assert_array_equal(library.keypoints(bout, as_read=True)[1], keypoints())
    library.undo(bout)
    np.testing.assert_array_equal(library.keypoints(bout)[1], keypoints())


def test_features_follow_a_swap_of_athletes(library):
    bout = library.add_bout(Path("x.mp4"), 40.0).id
    table = pd.DataFrame({"a_hip_height": 1.0, "b_hip_height": 2.0, "trunk_length": 3.0}, TIMES)
    library.save_reading(bout, TIMES, keypoints(), table, table, BOUT)
    library.append(bout, Correction("swap_athletes", {"from_s": 10.0}))
    swapped = library.features(bout)
    assert swapped.loc[:9.9].eq([1.0, 2.0, 3.0]).all().all()
    assert swapped.loc[10.0:].eq([2.0, 1.0, 3.0]).all().all()
    assert library.features(bout, as_read=True).equals(table.rename_axis("time_s"))


def test_many_threads_correcting_at_once_lose_nothing(library):
    proposal = Timeline(tuple(Segment(i, i + 1, "standing", id=f"s{i}") for i in range(40)))
    bout = save(library, proposal)

    def work(first: int) -> None:
        for i in range(first, 40, 4):
            library.append(bout, accept(f"s{i}"))

    threads = [threading.Thread(target=work, args=(first,)) for first in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert library.bout(bout).counts["accepted"] == 40
    assert [e.revision for e in library.journal(bout)] == list(range(1, 41))


KILLED = """
import sys
from pathlib import Path
from pipeline.library import Library
from pipeline.timeline import Correction
library, bout = Library(Path(sys.argv[1])), sys.argv[2]
for i in range(100000):
    library.append(bout, Correction("note", {"segment": "s1", "text": str(i)}))
    print(i, flush=True)
"""


def test_a_correction_that_was_confirmed_survives_a_kill(library):
    bout = save(library)
    process = subprocess.Popen(
        [sys.executable, "-c", KILLED, str(library.root), bout], stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    confirmed = [process.stdout.readline() for _ in range(20)]
    os.kill(process.pid, signal.SIGKILL)
    confirmed += process.stdout.readlines()
    process.wait()
    again = Library(library.root)
    assert again.revision(bout) - len(confirmed) in (0, 1)  # one may be kept but not yet printed
    assert int(again.timeline(bout).segments[0].note) >= int(confirmed[-1])
    assert [p for p in again.problems() if "footage" not in p] == []


def test_a_second_reading_hides_but_keeps_the_first_and_its_corrections(library):
    bout = save(library)
    library.append(bout, accept("s1"))
    table = pd.DataFrame({"standing": 1.0}, index=TIMES)
    newer = Timeline((Segment(0, 40, "standing"),), (Moment(1, 1, 1, "rise"),))
    library.save_reading(bout, TIMES, keypoints(), table, table, newer)
    assert (library.timeline(bout), library.revision(bout)) == (newer, 0)
    with sqlite3.connect(library.root / "library.sqlite3") as db:
        assert db.execute("SELECT count(*) FROM journal").fetchone() == (1,)


def test_a_second_reading_replaces_one_that_nobody_corrected(library):
    bout = save(library)
    table = pd.DataFrame({"standing": 1.0}, index=TIMES)
    library.save_reading(bout, TIMES, keypoints(), table, table, BOUT)
    assert len(list(library.root.glob("readings/*"))) == 1
    assert library.timeline(bout) == BOUT


def test_a_removed_bout_leaves_nothing_of_the_people_in_it(library):
    kept, gone = save(library), save(library)
    other = library.add_bout(Path("other.mp4"), 40.0, content_key="other").id
    traces = [library.root / "chunks/key-1/a.npz", library.root / "copies/key.mp4"]
    others = library.root / "chunks/other-1/a.npz"
    for path in (*traces, others):
        path.parent.mkdir(parents=True, exist_ok=True)
        path.touch()
    library.append(gone, accept("s1"))
    library.remove_bout(gone)
    assert all(path.exists() for path in traces)  # still another bout of the same footage
    library.remove_bout(kept)
    assert [bout.id for bout in library.bouts()] == [other]
    assert not any(path.exists() for path in traces)
    assert others.exists()
    assert list(library.root.glob("readings/*")) == []
    with sqlite3.connect(library.root / "library.sqlite3") as db:
        assert db.execute("SELECT count(*) FROM journal").fetchone() == (0,)
    with pytest.raises(MatlineError, match="No bout"):
        library.remove_bout(kept)


def test_the_journal_cannot_be_rewritten(library):
    bout = save(library)
    library.append(bout, accept("s1"))
    with (
        sqlite3.connect(library.root / "library.sqlite3") as db,
        pytest.raises(sqlite3.IntegrityError, match="only grows"),
    ):
        db.execute("UPDATE journal SET correction = 'x'")


def test_a_library_of_a_newer_version_is_left_alone(library):
    with sqlite3.connect(library.root / "library.sqlite3") as db:
        db.execute("PRAGMA user_version = 99")
    with pytest.raises(MatlineError, match="newer matline"):
        Library(library.root)


def test_a_damaged_database_is_said_in_a_sentence(tmp_path):
    (tmp_path / "library.sqlite3").write_bytes(b"not a database at all" * 100)
    with pytest.raises(MatlineError, match="damaged"):
        Library(tmp_path)


def test_a_truncated_table_is_found_and_named(library):
    bout = save(library)
    path = next(library.root.glob("readings/*/keypoints.parquet"))
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    with pytest.raises(MatlineError, match="damaged"):
        library.keypoints(bout)
    assert any("damaged" in problem for problem in library.problems())


def test_keypoints_that_do_not_belong_to_the_times_are_refused(library):
    bout = library.add_bout(Path("x.mp4"), 40.0)
    table = pd.DataFrame({"standing": 1.0}, index=TIMES)
    with pytest.raises(MatlineError, match="samples"):
        library.save_reading(bout.id, TIMES[1:], keypoints(), table, table, BOUT)
    assert list(library.root.glob("readings/*")) == []
    with pytest.raises(MatlineError, match="not been read"):
        library.timeline(bout.id)
