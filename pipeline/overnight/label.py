"""Skeletons from anyone's pose model → a reading."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from pipeline.athletes import Athletes
from pipeline.bodies import Body, Look
from pipeline.errors import MatlineError
from pipeline.overnight.reading import Reading, read_tracks
from pipeline.settings import Settings

_NO_PICTURE = np.zeros((0, 0, 3), np.uint8)
"""Without pictures nothing is known of clothing; who is who is told by movement alone."""


def label_bodies(
    times: np.ndarray, bodies: Sequence[tuple[Body, ...]], settings: Settings | None = None
) -> Reading:
    """Turn the people of each picture into a reading.

    Parameters
    ----------
    times : ndarray, (T,)
        Seconds, rising.
    bodies : sequence of tuple of Body, length T
        Everyone in each picture, in any order.
    settings : Settings, optional
    """
    settings = settings or Settings()
    athletes = Athletes(settings.athletes)
    for time_s, people in zip(times, bodies, strict=True):
        athletes.append(float(time_s), _NO_PICTURE, Look(people))
    return read_tracks(athletes.result(), settings)


def picture_times(
    given: Sequence[float | None], rate_hz: float | None = None, times_file: Path | None = None
) -> np.ndarray:
    """Return each picture's time: of the file, by the rate, or of the pictures themselves.

    Parameters
    ----------
    given : sequence of float or None, length T
        Times the pictures carry themselves.
    rate_hz : float, optional
    times_file : Path, optional
        One time in seconds a line.

    Raises
    ------
    MatlineError
        If there is no time, or not one for every picture.
    """
    if times_file is not None:
        times = _times_in(times_file)
    elif rate_hz is not None:
        if not rate_hz > 0:
            raise MatlineError(f"A rate of {rate_hz} pictures a second makes no sense.")
        times = np.arange(len(given)) / rate_hz
    elif None in given:
        raise MatlineError("The pictures carry no times; say --rate or --times.")
    else:
        times = np.array(given, dtype=np.float64)
    if len(times) != len(given):
        raise MatlineError(f"There are {len(given)} pictures but {len(times)} times.")
    return times


def _times_in(path: Path) -> np.ndarray:
    try:
        return np.array([float(line) for line in path.read_text().split()], dtype=np.float64)
    except OSError as error:
        raise MatlineError(f"Can't read {path}: {error.strerror}.") from error
    except ValueError as error:
        raise MatlineError(f"{path} must hold one time in seconds a line ({error}).") from error
