"""Words for places on a body: ``left hand``, ``inner right thigh``, ``opposite collars``.

A place is a sphere proxy, or a point on its surface in a direction of the bone it rides on.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

FRONT, BACK, LEFT, RIGHT, UP, DOWN = (
    (0.0, -1.0, 0.0), (0.0, 1.0, 0.0), (1.0, 0.0, 0.0),
    (-1.0, 0.0, 0.0), (0.0, 0.0, 1.0), (0.0, 0.0, -1.0),
)  # fmt: skip
Vector = tuple[float, float, float]
OUT = "out"  # away from the midline: left on the left side

# word → (sphere, direction on its surface or None for the sphere itself)
_MIDLINE: dict[str, tuple[str, Vector | None]] = {
    "seat": ("trunk.0.M", BACK),
    "groin": ("trunk.0.M", FRONT),
    "tailbone": ("trunk.1.M", BACK),
    "belly": ("trunk.2.M", FRONT),
    "lower back": ("trunk.2.M", BACK),
    "stomach": ("trunk.3.M", FRONT),
    "middle back": ("trunk.3.M", BACK),
    "chest": ("trunk.5.M", FRONT),
    "upper back": ("trunk.5.M", BACK),
    "throat": ("trunk.6.M", FRONT),
    "nape": ("neck", BACK),
    "neck": ("neck", None),
    "head": ("head", None),
    "crown": ("head", UP),
    "back of head": ("head", BACK),
    "forehead": ("head", FRONT),
    "chin": ("chin", None),
    "pelvis": ("trunk.0.M", None),
    "waist": ("trunk.2.M", None),
    "ribcage": ("trunk.4.M", None),
}

_SIDED: dict[str, tuple[str, Vector | str | None]] = {
    "hip": ("trunk.0.{}", OUT),
    "hip crease": ("trunk.0.{}", FRONT),
    "buttock": ("trunk.0.{}", BACK),
    "waist side": ("trunk.2.{}", OUT),
    "lat": ("trunk.4.{}", BACK),
    "ribs": ("trunk.4.{}", OUT),
    "armpit": ("trunk.5.{}", OUT),
    "breast": ("trunk.5.{}", FRONT),
    "shoulder blade": ("trunk.5.{}", BACK),
    "collar": ("trunk.6.{}", FRONT),
    "shoulder top": ("trunk.6.{}", BACK),
    "ear": ("head", OUT),
    "shoulder": ("upper_arm.{}.0", None),
    "upper arm": ("upper_arm.{}.2", None),
    "elbow": ("forearm.{}.0", None),
    "forearm": ("forearm.{}.2", None),
    "wrist": ("forearm.{}.4", None),
    "hand": ("palm.{}", None),
    "upper thigh": ("thigh.{}.1", None),
    "thigh": ("thigh.{}.3", None),
    "lower thigh": ("thigh.{}.5", None),
    "knee": ("shank.{}.0", None),
    "shin": ("shank.{}.3", None),
    "lower shin": ("shank.{}.5", None),
    "ankle": ("shank.{}.6", None),
    "heel": ("heel.{}", None),
    "sole": ("sole.{}", None),
    "toes": ("toe.{}", None),
}

_FACES = ("inner", "outer", "front", "back", "under", "top")

SEGMENTS: dict[str, tuple[str, str]] = {
    "trunk": ("trunk.1.M", "trunk.6.M"),
    "neck": ("neck", "head"),
    "thigh": ("thigh.{}.0", "thigh.{}.5"),
    "shank": ("shank.{}.0", "shank.{}.6"),
    "foot": ("heel.{}", "toe.{}"),
    "upper arm": ("upper_arm.{}.0", "upper_arm.{}.4"),
    "forearm": ("forearm.{}.0", "forearm.{}.4"),
}
"""What can point somewhere: from the first sphere to the second."""

FACING: dict[str, str] = {
    "chest": "trunk.4.M",
    "hips": "trunk.0.M",
    "face": "head",
}
"""What can face somewhere: the front of the bone a sphere rides on."""


@dataclass(frozen=True)
class Spot:
    """A place on one athlete.

    Attributes
    ----------
    athlete : int
        0 is A, 1 is B.
    sphere : str
        Name of the sphere proxy.
    direction : tuple of 3 floats, or None
        Unit vector in the rest frame of the bone: the point on the sphere's surface there.
        None is the sphere itself: its whole surface may touch.
    """

    athlete: int
    sphere: str
    direction: Vector | None = None


def _outwards(side: str) -> Vector:
    return LEFT if side == "L" else RIGHT


def _spot(athlete: int, face: str | None, side: str | None, word: str) -> Spot:
    if side is None:
        sphere, where = _MIDLINE[word]
        spot = Spot(athlete, sphere, where)
    else:
        sphere, named = _SIDED[word]
        towards = _outwards(side) if isinstance(named, str) else named
        spot = Spot(athlete, sphere.format(side), towards)
    if face is None:
        return spot
    inner_or_outer: dict[str, Vector] = {"front": FRONT, "back": BACK, "under": DOWN, "top": UP}
    if side is not None:
        inner_or_outer |= {"outer": _outwards(side), "inner": _outwards("LR"["RL".index(side)])}
    return replace(spot, direction=inner_or_outer[face])


def spots(phrase: str) -> tuple[Spot, ...]:
    """Read a place: one spot, or two (left first) for a plural.

    ``opposite`` before a plural gives right first, so that a pair of statements crosses over.

    Parameters
    ----------
    phrase : str
        ``"A left hand"``, ``"B opposite collars"``, ``"B inner right knee"``.

    Raises
    ------
    KeyError
        If a word is not known; the message is the phrase.
    """
    try:
        who, rest = phrase.split(" ", 1)
        athlete = {"A": 0, "B": 1}[who]
        words = rest.split(" ")
        face = words.pop(0) if words[0] in _FACES and len(words) > 1 else None
        if face == "back" and words[0] == "of":  # "back of head" is a place of its own
            face, words = None, ["back", *words]
        sides = "LR"
        if words[0] == "opposite":
            sides, words = "RL", words[1:]
        elif words[0] in ("left", "right"):
            return (_spot(athlete, face, words[0][0].upper(), " ".join(words[1:])),)
        word = " ".join(words)
        plural = word if word in _SIDED else word.removesuffix("s")  # ribs and toes are both
        if plural in _SIDED:
            return tuple(_spot(athlete, face, side, plural) for side in sides)
        return (_spot(athlete, face, None, word),)
    except (KeyError, IndexError, ValueError) as error:
        raise KeyError(phrase) from error


def segment(phrase: str) -> tuple[Spot, Spot]:
    """Read what points: ``"A trunk"``, ``"B left shank"`` → where it starts and ends."""
    who, _, word = phrase.partition(" ")
    side = {"left": "L", "right": "R"}.get(word.split(" ")[0], "")
    name = word.split(" ", 1)[1] if side else word
    try:
        athlete = {"A": 0, "B": 1}[who]
        start, end = SEGMENTS[name]
    except KeyError as error:
        raise KeyError(phrase) from error
    return Spot(athlete, start.format(side)), Spot(athlete, end.format(side))


def front(phrase: str) -> tuple[Spot, Spot]:
    """Read what faces: ``"A chest"`` → the centre and the front of it."""
    who, _, word = phrase.partition(" ")
    try:
        athlete, sphere = {"A": 0, "B": 1}[who], FACING[word]
    except KeyError as error:
        raise KeyError(phrase) from error
    return Spot(athlete, sphere, (0.0, 0.0, 0.0)), Spot(athlete, sphere, FRONT)
