"""A worker that hangs hangs nobody else, and no night."""

import os
import signal
import threading
import time
from contextlib import closing
from pathlib import Path

import pytest

from pipeline.errors import MatlineError
from pipeline.library import Library
from pipeline.overnight import LocalProcesses
from pipeline.overnight.engine import Task
from pipeline.overnight.lock import reading_lock
from pipeline.settings import OvernightSettings, Settings
from tests.overnight import test_night
from tests.overnight.figures import FigureReader, make_clip
from tests.overnight.test_engine import double, run
from tests.overnight.test_night import became, plan_and_run


class HangingReader(FigureReader):
    """Never comes back from a picture with a white corner, as from a share that is gone."""

    def read(self, image, region=None, mat=None):
        """Hang, or read."""
        if image[:8, :8].min() > 230:
            time.sleep(3600)
        return super().read(image, region)


BACKEND = f"{__name__}:{HangingReader.__name__}"


@pytest.fixture
def library(tmp_path) -> Library:
    return Library(tmp_path / "library")


def stop_here(started: Path) -> None:
    started.touch()
    os.kill(os.getpid(), signal.SIGSTOP)


def large(started: Path) -> bytes:
    started.touch()
    return bytes(200 << 20)


def test_a_task_that_hangs_is_given_up_with_its_worker_and_the_others_are_done():
    with closing(LocalProcesses(2)) as engine:
        hanging = Task(time.sleep, (3600,), 0, limit_s=0.5)
        done = run(engine, hanging, *(Task(double, (i,), i) for i in range(1, 6)))
    assert "did not get on" in done[0].error
    assert [outcome.value for outcome in done[1:]] == [2, 4, 6, 8, 10]


def test_a_worker_that_is_stopped_is_replaced(tmp_path):
    with closing(LocalProcesses(1)) as engine:
        stopped = Task(stop_here, (tmp_path / "started",), 0, limit_s=5)
        done = run(engine, stopped, Task(double, (2,), 1))
    assert "did not get on" in done[0].error
    assert done[1].value == 4


def test_a_worker_stopped_in_the_middle_of_its_answer_is_replaced(tmp_path):
    def stop_when_answering():
        while not (tmp_path / "started").exists():
            time.sleep(0.01)
        os.kill(engine._pool[0].process.pid, signal.SIGSTOP)

    with closing(LocalProcesses(1)) as engine:
        threading.Thread(target=stop_when_answering).start()
        done = run(
            engine, Task(large, (tmp_path / "started",), 0, limit_s=5), Task(double, (2,), 1)
        )
    assert "did not get on" in done[0].error
    assert done[1].value == 4


def test_time_in_which_the_whole_night_was_stopped_is_not_held_against_workers(monkeypatch):
    with closing(LocalProcesses(1)) as engine:
        run(engine, Task(double, (1,), 0))
        engine.submit(Task(time.sleep, (3,), 0, limit_s=100))
        now = time.monotonic()
        monkeypatch.setattr(time, "monotonic", lambda: now + 10_000)  # Ctrl-Z, and fg hours later
        assert [outcome.error for outcome in engine.finished(0.01)] == []


def test_a_film_that_hangs_its_reader_is_named_and_the_others_are_read(
    library, tmp_path, monkeypatch
):
    short = 3.5  # only the film that hangs is shorter, and may take 20 s
    monkeypatch.setattr(
        OvernightSettings, "for_work", lambda _, footage_s: 20.0 if footage_s < short else 3600.0
    )
    monkeypatch.setattr(test_night, "SETTINGS", Settings())
    asked = [make_clip(tmp_path / "stuck.mp4", 3, poisoned=True), make_clip(tmp_path / "b.mp4", 4)]
    with closing(LocalProcesses(2)) as engine:
        _, summary = plan_and_run(library, *asked, engine=engine, backend=BACKEND)
    assert became(summary) == ["failed", "read"]
    assert "stuck.mp4: reading it did not get on for 20 s" in summary.files[0].why


def test_a_night_ends_at_its_time_though_a_film_hangs_its_reader(library, tmp_path, monkeypatch):
    patient = OvernightSettings(limit_s=3600.0, grace_s=0.5)
    monkeypatch.setattr(test_night, "SETTINGS", Settings(overnight=patient))
    stuck = make_clip(tmp_path / "stuck.mp4", 3, poisoned=True)
    with closing(LocalProcesses(1)) as engine:
        soon = time.time() + 10
        _, summary = plan_and_run(library, stuck, engine=engine, backend=BACKEND, until=soon)
    assert became(summary) == ["unfinished"]


def test_waiting_for_another_run_ends_at_its_time_too(tmp_path):
    with (
        reading_lock(tmp_path),
        pytest.raises(MatlineError, match="Another matline"),
        reading_lock(tmp_path, wait=True, until=time.time() + 0.1),
    ):
        pass


def test_a_piece_may_take_long_by_its_length_and_a_large_file_by_its_size():
    settings = OvernightSettings()
    assert settings.for_work(60) - settings.for_work(0) >= 60 / 0.15  # 4K on one core, measured
    assert settings.for_file(64 << 30) > 3600
