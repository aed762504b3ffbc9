"""Which times of a file can be right, whatever its header and its packets claim."""

from __future__ import annotations

LONGEST_PAUSE_S = 24 * 3600.0
"""Seconds. Nobody's camera waits longer between two pictures of one file: a later time is wrong."""

_LONGEST_SHOWN_S = 10.0
"""A picture that claims to last longer is counted as lasting no time."""

LONGEST_CLAIM_S = 24 * 3600.0
"""A header that states more than a day is believed only as far as there are pictures."""

LEAST_BYTES_A_SECOND = 200
"""A file with less for each second it claims (a still picture takes ten times that) is not believed
either."""


def believable(claim_s: float, size_bytes: int) -> bool:
    """Return whether a file of this size may well be as long as its header states."""
    return 0 < claim_s <= min(LONGEST_CLAIM_S, size_bytes / LEAST_BYTES_A_SECOND)


class Placing:
    """Follows the times of a file's pictures, and finds those that can't be right.

    Attributes
    ----------
    end_s : float
        End of the last picture so far.
    """

    def __init__(self, start_s: float = 0.0) -> None:
        self.end_s = start_s

    def strays(self, time_s: float) -> bool:
        """Return whether a picture of this time would lie more than a day behind the others."""
        return time_s - self.end_s > LONGEST_PAUSE_S

    def place(self, time_s: float, lasts_s: float = 0.0) -> bool:
        """Take a picture in; return False, and leave it out, if its time can't be right."""
        if self.strays(time_s):
            return False
        shown_s = lasts_s if 0 < lasts_s <= _LONGEST_SHOWN_S else 0.0
        self.end_s = max(self.end_s, time_s + shown_s)
        return True
