"""Reading stops when the user meant it to, and a second run waits when it was told to."""

import threading
import time
from datetime import datetime

import pytest

from pipeline.errors import MatlineError
from pipeline.library import Library
from pipeline.overnight.clock import next_time
from pipeline.overnight.lock import reading_lock


@pytest.mark.parametrize(
    ("now", "said", "then"),
    [
        ("2031-05-04 22:00", "06:30", "2031-05-05 06:30"),
        ("2031-05-04 05:00", "6:30", "2031-05-04 06:30"),
        ("2031-05-04 06:30", "06:30", "2031-05-05 06:30"),
        ("2031-12-31 23:59", "00:00", "2032-01-01 00:00"),
    ],
)
def test_until_means_the_next_time_the_clock_shows_it(now, said, then):
    moment = next_time(said, datetime.fromisoformat(now))
    assert datetime.fromtimestamp(moment) == datetime.fromisoformat(then)


@pytest.mark.parametrize("said", ["24:00", "6.30", "06:60", "noon", ""])
def test_what_is_no_time_of_day_is_refused(said):
    with pytest.raises(MatlineError, match="write it as 06:30"):
        next_time(said)


def test_a_second_run_waits_for_the_first_when_told_to(tmp_path):
    root = Library(tmp_path).root
    order = []

    def first() -> None:
        with reading_lock(root):
            holds.set()
            time.sleep(0.3)
            order.append("first")

    holds = threading.Event()
    thread = threading.Thread(target=first)
    thread.start()
    holds.wait()
    with reading_lock(root, wait=True):
        order.append("second")
    thread.join()
    assert order == ["first", "second"]
