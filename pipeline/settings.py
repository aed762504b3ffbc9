"""Every number a user might want to change: one frozen dataclass a room, each with its reason.

Times are seconds, angles degrees, lengths trunk lengths unless a name says otherwise.
"""

from dataclasses import dataclass, field


@dataclass(frozen=True)
class FootageSettings:
    """How pictures are taken from a file."""

    rate_hz: float = 5.0
    """Samples a second. A rise lasts about 0.5 s or more, so 5 Hz sees it at least twice."""


@dataclass(frozen=True)
class Settings:
    """All settings, room by room."""

    footage: FootageSettings = field(default_factory=FootageSettings)
