"""The words of the trade that the whole project shares.

A position is a key (``"half_guard"``) with a name to show and whether one athlete is
underneath. The list is data: a finer label of the user's own hangs under a position as
``"half_guard/knee shield"``; everything here reads the part before the slash.
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class Position:
    """A coarse position.

    Attributes
    ----------
    key : str
        The word used in files and code.
    name : str
        The words shown to a human.
    meaning : str
        What it looks like, in a sentence.
    has_top : bool
        Whether one athlete is on top (or has the back), so that "top" is A or B.
    is_guard : bool
        Whether a reversal from underneath counts as a sweep.
    """

    key: str
    name: str
    meaning: str
    has_top: bool = True
    is_guard: bool = False


POSITIONS: tuple[Position, ...] = (
    Position("standing", "standing", "Both on their feet, apart or gripping.", has_top=False),
    Position(
        "takedown",
        "takedown",
        "From the first grip on legs or trunk until the ground is settled; top is who attacks.",
    ),
    Position(
        "closed_guard", "closed guard", "Bottom athlete's legs locked around the trunk.", True, True
    ),
    Position(
        "open_guard",
        "open guard",
        "Bottom athlete's legs between the two, not locked: seated, butterfly, feet on hips.",
        True,
        True,
    ),
    Position(
        "half_guard", "half guard", "One leg of the top athlete held by both legs.", True, True
    ),
    Position("side_control", "side control", "Chest on chest from the side, past the legs."),
    Position("knee_on_belly", "knee on belly", "One knee on the trunk, the other foot posted."),
    Position("mount", "mount", "Astride the trunk, facing the head."),
    Position(
        "back_control",
        "back control",
        "Behind the other, legs hooked in; top is who has the back, even from underneath.",
    ),
    Position(
        "turtle",
        "turtle",
        "Bottom athlete on knees and elbows, the other behind, beside or in front.",
    ),
    Position("north_south", "north–south", "Chest on chest, head to hips."),
    Position(
        "leg_entanglement",
        "leg entanglement",
        "Legs wrapped around one leg, both often seated; top is who attacks the leg.",
    ),
    Position("scramble", "scramble", "No settled position.", has_top=False),
    Position("apart", "apart", "No contact, or stopped.", has_top=False),
)

POSITION_KEYS: tuple[str, ...] = tuple(p.key for p in POSITIONS)
UNKNOWN = "unknown"
"""Shown where the reader would rather not guess; never a column of probabilities."""

BY_KEY: dict[str, Position] = {p.key: p for p in POSITIONS} | {
    UNKNOWN: Position(UNKNOWN, "unknown", "The reader would rather not guess.", has_top=False)
}

MOMENT_KINDS: tuple[str, ...] = (
    "rise",
    "lift",
    "reversal",
    "sweep",
    "takedown",
    "guard_pass",
    "mount_taken",
    "back_taken",
    "knee_on_belly_taken",
    "stand_up",
)
ATTEMPT_SUFFIX = "_attempt"
"""``"sweep_attempt"``: reached, not held."""


def coarse(label: str) -> str:
    """Return the position a label hangs under: ``"half_guard/knee shield"`` → ``"half_guard"``."""
    return label.split("/", 1)[0]


def position(label: str) -> Position:
    """Return the `Position` of a label.

    Raises
    ------
    KeyError
        If the part before the slash is not a position.
    """
    return BY_KEY[coarse(label)]
