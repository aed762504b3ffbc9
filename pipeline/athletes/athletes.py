"""Looks in, tracks out: the class a reader feeds sample by sample."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.athletes import clothing as cloth
from pipeline.athletes.choose import Memory, follow
from pipeline.athletes.people import People
from pipeline.athletes.strangers import strangers
from pipeline.athletes.tracks import Tracks
from pipeline.bodies import Look
from pipeline.errors import MatlineError
from pipeline.settings import AthletesSettings


class Athletes:
    """Finds athletes A and B in the people that a body reader found.

    Of each sample only small numbers are kept (skeletons and clothing colours of at most
    `AthletesSettings.max_people`), never the picture.

    Parameters
    ----------
    settings : AthletesSettings, optional
    after : Tracks, optional
        The footage just before, so that the same two people are chosen and keep their names.

    Examples
    --------
    >>> import numpy as np
    >>> from pipeline.bodies import Look
    >>> athletes = Athletes()
    >>> athletes.append(0.0, np.zeros((4, 4, 3), np.uint8), Look())
    >>> athletes.result().keypoints.shape
    (1, 2, 17, 3)
    """

    def __init__(
        self, settings: AthletesSettings | None = None, after: Tracks | None = None
    ) -> None:
        self._settings = settings or AthletesSettings()
        self._memory = _memory_of(after) if after is not None and len(after) else None
        self._samples: list[People] = []

    def append(self, time_s: float, image: np.ndarray, look: Look) -> None:
        """Take one sample.

        Parameters
        ----------
        time_s : float
            Later than the sample before.
        image : ndarray, uint8, (H, W, 3)
            RGB, what `look` was read from; not kept.
        look : Look

        Raises
        ------
        MatlineError
            If the time does not increase.
        """
        self.add(People.from_look(time_s, image, look, self._settings))

    def add(self, people: People) -> None:
        """Take one sample whose people were already kept, with `People.from_look`.

        Raises
        ------
        MatlineError
            If the time does not increase.
        """
        if self._samples and people.time_s <= self._samples[-1].time_s:
            raise MatlineError(
                f"Sample at {people.time_s:.3f} s comes after one at "
                f"{self._samples[-1].time_s:.3f} s; give samples in order of time."
            )
        self._samples.append(people)

    def result(self) -> Tracks:
        """Return the tracks of all samples so far; can be called again after more."""
        chosen = follow(self._samples, self._settings, self._memory)
        count = len(self._samples)
        keypoints = np.full((count, 2, 17, 3), np.nan, dtype=np.float32)
        clothing = np.zeros((count, 2, cloth.LENGTH), dtype=np.float32)
        said = np.full(count, np.nan)
        readings = [p.chosen(pair) for p, pair in zip(self._samples, chosen, strict=True)]
        for t, (people, pair) in enumerate(readings):
            for slot, who in enumerate(pair):
                if who < 0:
                    continue
                keypoints[t, slot] = people.keypoints[who]
                clothing[t, slot] = people.clothing[who]
                if who == people.top_of and people.top is not None:
                    said[t] = people.top if slot == 0 else 1 - people.top
        times = np.array([p.time_s for p in self._samples], dtype=np.float64)
        wrong = strangers(times, keypoints, self._settings)
        keypoints[wrong] = np.nan
        clothing[wrong] = 0
        said[wrong.any(axis=1)] = np.nan
        scores = _table(times, [people.positions for people, _ in readings])
        return Tracks.from_keypoints(times, keypoints, clothing, said, scores, self._settings)


def _table(times: np.ndarray, scores: list[dict[str, float] | None]) -> pd.DataFrame | None:
    if not any(scores):
        return None
    return pd.DataFrame([s or {} for s in scores], index=pd.Index(times, name="time_s"))


def _memory_of(before: Tracks) -> Memory:
    """What is remembered of A and B where earlier footage ended."""
    memory = Memory.blank()
    for slot in range(2):
        seen = np.flatnonzero(np.isfinite(before.keypoints[:, slot, :, :2]).any(axis=(1, 2)))
        if len(seen) == 0:
            continue
        memory.points[0, slot] = before.keypoints[seen[-1], slot, :, :2]
        memory.seen_s[0, slot] = before.times[seen[-1]]
        spread = np.nanmax(memory.points[0, slot], axis=0) - np.nanmin(
            memory.points[0, slot], axis=0
        )
        memory.trunk[0, slot] = max(float(spread.max()) / 3, 1.0)
        memory.clothing[0, slot] = cloth.mean(before.clothing[seen, slot], np.ones(len(seen)))
    return memory
