"""Every number a user might want to change: one frozen dataclass a room, each with its reason.

Times are seconds, angles degrees, lengths trunk lengths unless a name says otherwise.
"""

from dataclasses import dataclass, field


@dataclass(frozen=True)
class FootageSettings:
    """How pictures are taken from a file."""

    rate_hz: float = 5.0
    """Samples a second. A rise lasts about 0.5 s or more, so 5 Hz sees it at least twice."""

    decode_threads: int = 2
    """Threads a decoder may use; 1 when many files are read side by side."""

    gap_s: float = 0.5
    """Seconds without a picture that are recorded as a gap. Phones slow down to about 12 pictures a
    second in the dark, so half a second is never the camera's own rhythm."""

    distrust_s: float = 10.0
    """After damage, pictures are dropped until the next key frame, at most this many seconds:
    encoders' defaults put key frames no further apart than that."""

    proxy_max_side: int = 1280
    """Longest side in pixels of the copy made for browsers; enough to see a hand on a collar."""

    proxy_crf: int = 23
    """Quality of that copy, the constant rate factor of x264 (its default)."""

    proxy_key_every: int = 15
    """Pictures between key frames of that copy, so that stepping back is quick."""


@dataclass(frozen=True)
class PositionsSettings:
    """How probabilities become segments."""

    evidence_s: float = 0.5
    """Seconds. Samples closer than this say the same thing twice, so each sample's vote counts in
    proportion to the time it stands for; results then don't depend on the sampling rate."""
    doubt: float = 0.25
    """Probability. Where no position is more likely than this for a while, the segment is
    ``unknown``: a wrong label costs a human more than an open question."""
    gap_s: float = 2.0
    """Seconds. A longer hole between samples is not bridged by a position but by ``unknown``."""
    rare: float = 0.02
    """Weight of a transition the table doesn't list: possible, but only on strong evidence."""
    border_s: float = 0.5
    """Seconds. A border's confidence is the chance that it is at most this far off."""
    reader_weight: float = 0.5
    """Exponent of the body reader's own position scores where it has any; 0 ignores them."""


@dataclass(frozen=True)
class ReviewSettings:
    """How the correcting page is served and what it puts first."""

    max_body_bytes: int = 64_000
    """Bytes. The largest request, a long note with its frame, is a few thousand."""
    max_window_s: float = 120.0
    """Seconds of keypoints sent at once; 2 minutes at 5 a second are 250 kB."""


@dataclass(frozen=True)
class GeometrySettings:
    """How skeletons become features."""

    min_confidence: float = 0.05
    """0–1. Below it a keypoint counts as not seen: readers place even what they don't believe."""
    scale_window_s: float = 2.0
    """Seconds. Running median of the trunk length: bodies don't grow, zooms take about as long."""
    floor_window_s: float = 0.5
    """Seconds. Running median of the lowest body point: takes out one wild ankle at 5 Hz."""
    rate_reach_s: float = 0.35
    """Seconds on either side for changes a second: at least one sample a side from 3 Hz up."""


@dataclass(frozen=True)
class Settings:
    """All settings, room by room."""

    footage: FootageSettings = field(default_factory=FootageSettings)
    positions: PositionsSettings = field(default_factory=PositionsSettings)
    review: ReviewSettings = field(default_factory=ReviewSettings)
    geometry: GeometrySettings = field(default_factory=GeometrySettings)
