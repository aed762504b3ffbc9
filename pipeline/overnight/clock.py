"""Times of day, and lengths of time, as people say them."""

from __future__ import annotations

import re
from datetime import datetime, timedelta

from pipeline.errors import MatlineError


def next_time(text: str, now: datetime | None = None) -> float:
    """Return the next moment at which the clock shows a time, in seconds since the epoch.

    Parameters
    ----------
    text : str
        ``"06:30"``, local time.
    now : datetime, optional

    Raises
    ------
    MatlineError
        If it is no time of day.

    Examples
    --------
    >>> evening = datetime(2031, 5, 4, 22, 0)
    >>> datetime.fromtimestamp(next_time("06:30", evening)).isoformat()
    '2031-05-05T06:30:00'
    """
    found = re.fullmatch(r"(\d{1,2}):(\d{2})", text.strip())
    if not found or int(found[1]) > 23 or int(found[2]) > 59:
        raise MatlineError(f"“{text}” is no time of day; write it as 06:30.")
    now = now or datetime.now()
    then = now.replace(hour=int(found[1]), minute=int(found[2]), second=0, microsecond=0)
    if then <= now:
        then += timedelta(days=1)
    return then.timestamp()


def length(seconds: float) -> str:
    """Return a length of time as people say it: ``40 s``, ``12 min``, ``3 h 20 min``.

    Cut, as `pipeline.timeline.clock` does: never longer than it is.
    """
    whole = int(seconds + 1e-6)
    if whole < 120:
        return f"{whole} s"
    minutes = whole // 60
    if minutes < 90:
        return f"{minutes} min"
    return f"{minutes // 60} h {minutes % 60:02d} min"
