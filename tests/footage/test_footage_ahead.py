"""Pictures taken ahead are the same pictures, and errors and ends arrive in their place."""

from __future__ import annotations

import threading

import numpy as np
import pytest

from pipeline.footage import Footage
from pipeline.footage.ahead import ahead


def test_pictures_and_gaps_are_those_of_reading_one_by_one(videos):
    alone, footage = Footage.open(videos("cfr.mp4")), Footage.open(videos("cfr.mp4"))
    one_by_one, taken = list(alone.frames(5.0)), list(ahead(footage.frames(5.0)))
    assert [f.time_s for f in taken] == [f.time_s for f in one_by_one]
    for a, b in zip(taken, one_by_one, strict=True):
        np.testing.assert_array_equal(a.image, b.image)
    assert footage.gaps == alone.gaps


def test_the_next_one_is_taken_while_this_one_is_in_use():
    taken = threading.Semaphore(0)

    def things():
        for number in range(3):
            taken.release()
            yield number

    iterator = ahead(things())
    assert next(iterator) == 0
    assert taken.acquire(timeout=10)
    assert taken.acquire(timeout=10)  # 1 is taken though nobody has asked for it yet
    assert list(iterator) == [1, 2]


def test_an_error_arrives_after_what_came_before_it():
    def things():
        yield 1
        raise ValueError("torn cable")

    iterator = ahead(things())
    assert next(iterator) == 1
    with pytest.raises(ValueError, match="torn cable"):
        next(iterator)


def test_stopping_early_closes_what_was_read():
    closed = threading.Event()

    def things():
        try:
            yield from range(100)
        finally:
            closed.set()

    iterator = ahead(things())
    next(iterator)
    iterator.close()
    assert closed.is_set()
