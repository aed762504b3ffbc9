"""When each picture of a clip is shown: slow motion, standing still, the place in a reel."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import TypeVar

from pipeline.outputs.clips.choose import Clip
from pipeline.settings import ClipsSettings

Shown = TypeVar("Shown")


@dataclass(frozen=True)
class Pace:
    """How the time of the footage becomes the time of a clip.

    Attributes
    ----------
    clip : Clip
    speed : float
        Within the clip's core; above 0.
    freeze_s : float
        Seconds the picture at the peak stays.
    """

    clip: Clip
    speed: float = 1.0
    freeze_s: float = 0.0

    @classmethod
    def of(cls, clip: Clip, settings: ClipsSettings) -> Pace:
        """Return the pace that the settings ask for."""
        return cls(clip, settings.speed, settings.freeze_s if clip.peak_s is not None else 0.0)

    @property
    def length_s(self) -> float:
        """Seconds the clip takes."""
        return self.shown_at(self.clip.end_s)

    def shown_at(self, time_s: float) -> float:
        """Return when a time of the footage is shown, seconds from the clip's beginning."""
        since_s = time_s - self.clip.start_s
        if self.clip.core is not None:
            start_s, end_s = self.clip.core
            slow_s = max(0.0, min(time_s, end_s) - max(self.clip.start_s, start_s))
            since_s += slow_s * (1 / self.speed - 1)
        if self.clip.peak_s is not None and time_s > self.clip.peak_s:
            since_s += self.freeze_s
        return since_s


def paced(
    pictures: Iterable[tuple[float, Shown]], pace: Pace, still_every_s: float
) -> Iterator[tuple[float, float, Shown]]:
    """Yield when each picture is shown.

    Parameters
    ----------
    pictures : iterable of (float, object)
        Time in the footage, ascending within the clip, and the picture.
    pace : Pace
    still_every_s : float
        A picture that stands still for longer is shown again this often.

    Yields
    ------
    (float, float, object)
        Seconds from the clip's beginning, time in the footage, picture. The first is shown from
        the very beginning, so that nothing else is seen there.
    """
    ahead = iter(pictures)
    current = next(ahead, None)
    shown_s = 0.0
    while current is not None:
        following = next(ahead, None)
        yield shown_s, *current
        until_s = pace.shown_at(following[0]) if following else pace.length_s
        longest_s = _usual_s(current, following, pace)
        if until_s - shown_s > longest_s:
            count = int((until_s - shown_s) / still_every_s - 1e-9)
            for number in range(1, count + 1):
                yield shown_s + number * still_every_s, *current
        current, shown_s = following, until_s


def _usual_s(
    current: tuple[float, Shown], following: tuple[float, Shown] | None, pace: Pace
) -> float:
    """Return how long a picture stays without standing still."""
    end_s = following[0] if following else pace.clip.end_s
    return (end_s - current[0]) / min(1.0, pace.speed) + 1e-6
