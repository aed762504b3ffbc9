"""Times as people read them. One rule everywhere: what is shown is cut, never rounded up."""

from __future__ import annotations

_JUST_BELOW = 1e-6
"""Of the last place shown; a time this little below a whole one is that whole one, as binary
fractions go."""


def clock(seconds: float, digits: int = 0) -> str:
    """Return a time or a length as players show it: ``2:05``, ``1:02:05``.

    Cut, so that no place is named before it is reached, and that one time reads the same in the
    terminal, on the page and in a report; the page's `clock` in words.js does the same.

    Parameters
    ----------
    seconds : float
    digits : int
        Of a second.

    Examples
    --------
    >>> clock(125.9), clock(3725.0), clock(5.04, 1), clock(-61.5)
    ('2:05', '1:02:05', '0:05.0', '−1:01')
    """
    parts = 10**digits
    count = int(abs(seconds) * parts + _JUST_BELOW)
    whole, rest = divmod(count, parts)
    minutes, second = divmod(whole, 60)
    hours, minutes = divmod(minutes, 60)
    start = f"{hours}:{minutes:02d}" if hours else f"{minutes}"
    end = f".{rest:0{digits}d}" if digits else ""
    return f"{'−' if seconds < 0 else ''}{start}:{second:02d}{end}"
