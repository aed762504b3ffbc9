"""Which decoded pictures can be trusted, and the gaps the others leave."""

from __future__ import annotations

import heapq
import math

from av.video.frame import VideoFrame

from pipeline.footage.gaps import Gap
from pipeline.footage.info import FootageInfo
from pipeline.footage.placing import Placing
from pipeline.footage.sampling import Span
from pipeline.settings import FootageSettings

DAMAGED = "damaged: the pictures could not be decoded"
MISSING = "no pictures in the file"
BACKWARDS = "timestamps run backwards: recordings were joined; split the file there"
CUT_OFF = "the pictures end before the length the file states"
ASTRAY = "timestamps jump ahead by more than a day: the file's clock is damaged"


class Watch:
    """Judges decoded pictures one after another and writes down the gaps."""

    def __init__(
        self, info: FootageInfo, settings: FootageSettings, span: Span, last_s: float | None
    ) -> None:
        self._info, self._span = info, span
        self._longest_s = max(
            settings.gap_s, 0.0 if math.isinf(span.rate_hz) else 1.5 / span.rate_hz
        )
        self._distrust_s = settings.distrust_s
        self._corrupt: list[int] = []
        self._since_s: float | None = None
        self._mended = False
        self._unplaced = 0
        self._astray = 0
        self._placing = Placing(max(0.0, span.start_s))
        self._furthest_s = -math.inf
        self.last_s = last_s
        self.hurt = False
        self.gaps: list[Gap] = []

    def damaged(self) -> None:
        """Note that decoding failed: what follows leans on what was lost."""
        self.hurt = True

    def damaged_at(self, pts: int | None) -> None:
        """Note that the packet of this picture is damaged."""
        if pts is None:
            self.hurt = True
        else:
            heapq.heappush(self._corrupt, pts)

    def met(self, time_s: float) -> None:
        """Note that a packet of this time is there, whether or not it can be decoded."""
        self._placing.place(time_s)

    def strays(self, time_s: float) -> bool:
        """Take note of a picture's time; return whether it lies so far ahead that it is wrong."""
        astray = not math.isnan(time_s) and not self._placing.place(time_s)
        self._astray += astray
        return astray

    def saw(self, time_s: float, frame: VideoFrame) -> bool | None:
        """Take note of the next picture.

        Returns
        -------
        bool or None
            Whether it can be trusted; None if its time has been before or is unknown.
        """
        if math.isnan(time_s):
            return None
        self._take_corrupt(below=frame.pts)
        if self.hurt and self._heals(time_s, frame):
            self.hurt, self._since_s, self._mended = False, None, True
        self.hurt |= frame.is_corrupt or self._take_corrupt(below=frame.pts, inclusive=True)
        backwards = time_s < self._furthest_s - self._longest_s
        self._furthest_s = max(self._furthest_s, time_s)
        if self.last_s is not None and time_s <= self.last_s:
            self._unplaced += backwards  # the others only lead up to where the stretch begins
            return None
        if self.hurt:
            self._since_s = time_s if self._since_s is None else self._since_s
            return False
        self._note(time_s)
        self.last_s = time_s
        return True

    def passed(self, time_s: float) -> None:
        """Note a picture that is there and was left out; only its time is known."""
        if not self.hurt and (self.last_s is None or time_s > self.last_s):
            self._note(time_s)
            self.last_s = time_s

    def left(self) -> None:
        """Note that the stretch is over, though the file goes on."""
        if self.hurt:
            self.gaps.append(Gap(self._last_good_s(), self._span.end_s, DAMAGED))

    def ended(self) -> None:
        """Note the end of the file."""
        last = self._last_good_s()
        missing_s = self._info.stated_s - last
        for count, reason in ((self._unplaced, BACKWARDS), (self._astray, ASTRAY)):
            unplaced_s = float(count / self._info.counting_rate)
            if unplaced_s > self._longest_s:
                self.gaps.append(Gap(last, last + unplaced_s, reason))
                return
        if missing_s > self._longest_s:
            is_cut_off = self._info.stated_s - self._placing.end_s > self._longest_s
            reason = DAMAGED if self.hurt and not is_cut_off else CUT_OFF
            self.gaps.append(Gap(last, self._info.stated_s, reason))

    def _heals(self, time_s: float, frame: VideoFrame) -> bool:
        waited = self._since_s is not None and time_s - self._since_s >= self._distrust_s
        return frame.key_frame or waited

    def _take_corrupt(self, below: int | None, inclusive: bool = False) -> bool:
        """Use up the damaged packets before (or at) a picture; return whether there were any."""
        found = False
        while self._corrupt and below is not None and self._corrupt[0] < below + inclusive:
            heapq.heappop(self._corrupt)
            found = True
        self.hurt |= found
        return found

    def _last_good_s(self) -> float:
        return self._span.start_s if self.last_s is None else self.last_s

    def _note(self, time_s: float) -> None:
        last = self._last_good_s()
        if self._mended:
            self.gaps.append(Gap(last, time_s, DAMAGED))
        elif time_s - last > self._longest_s:
            self.gaps.append(Gap(last, time_s, MISSING))
        self._mended = False
