"""Long work says how far it is and when it will be done, on a terminal and in a log."""

import io

import pytest

from pipeline.cli import progress
from pipeline.cli.progress import Progress
from pipeline.overnight.clock import length


class Terminal(io.StringIO):
    """A stream that is a terminal."""

    def isatty(self) -> bool:
        """Say so."""
        return True


@pytest.fixture
def clock(monkeypatch):
    now = [100.0]
    monkeypatch.setattr(progress.time, "monotonic", lambda: now[0])
    return now


def test_the_estimate_leaves_out_what_was_there_when_work_began(clock):
    out = Terminal()
    with Progress("Reading", out) as shown:
        shown(600, 1200, "a.mp4")
        clock[0] += 60
        shown(660, 1200, "a.mp4")
    # 60 s of footage in 60 s: the remaining 540 s take 9 minutes.
    assert "a.mp4: 55 %, about 9 min left" in out.getvalue()


def test_a_log_gets_a_line_now_and_then_and_none_for_short_work(clock):
    out = io.StringIO()
    with Progress("Reading", out) as shown:
        for second in range(0, 100):
            clock[0] += 1
            shown(second, 100)
    lines = out.getvalue().splitlines()
    assert 2 <= len(lines) <= 4
    assert not any("\r" in line for line in lines)


@pytest.mark.parametrize(
    ("seconds", "words"), [(40, "40 s"), (89, "89 s"), (720, "12 min"), (12000, "3 h 20 min")]
)
def test_lengths_read_as_people_say_them(seconds, words):
    assert length(seconds) == words
