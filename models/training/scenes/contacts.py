"""A position as a short text: how the bodies start, what touches what, where things point.

One statement a line; ``#`` opens a template, ``;`` or a new line ends a statement::

    # closed guard, high posture
    position: closed_guard
    top: A
    about: The legs lock around the trunk; the top athlete sits up on the heels.

    B starts supine, head north, at 0 0 12; hip_flex 95, hip_abd 32, knee 85
    A starts kneeling, facing north, leaning 5..20, at 0 -32 42

    B seat, lower back on mat
    A knees, shins on mat, firmly
    B left ankle to B right ankle
    A trunk points up and 0.4 north
    one of:
      - A hands to B opposite breasts
      - A hands to B opposite upper arms; A elbows at height 20..30

Lengths are centimetres, angles degrees, ``12..37`` is drawn anew for every pair. The compass lies
on the mat: north is +y, east +x, and a body on its back with its head north has its left in the
east. A is the athlete on top where there is one. ``still: yes`` under the name keeps
a pose that nobody stays in, such as a throw, out of bouts: it is for pictures only.

Statements
----------
``X on mat``            the place rests on the mat
``X to Y``              the surfaces meet; ``within 8`` allows a gap
``X apart from Y by 34``  at least so far from each other
``X at height 40..60``  height of the sphere's centre
``X below Y by 5``      (``above``) at least so much lower
``S points up and 0.4 north``  direction of a segment (see `spots.SEGMENTS`)
``C faces down``        direction of the chest's, hips' or face's front
``…, firmly`` and ``…, loosely`` change how much a statement counts.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np

from pipeline.errors import MatlineError
from pipeline.timeline.vocabulary import BY_KEY, POSITION_KEYS

from .joints import JOINT_INDEX
from .spots import Spot, front, segment, spots

Kind = Literal["mat", "touch", "apart", "height", "below", "direction"]

_COMPASS = {
    "north": (0, 1, 0), "south": (0, -1, 0), "east": (1, 0, 0),
    "west": (-1, 0, 0), "up": (0, 0, 1), "down": (0, 0, -1),
}  # fmt: skip
# Turn about the vertical that makes an upright body face there.
_FACING_YAW = {"south": 0.0, "east": 90.0, "north": 180.0, "west": -90.0}
_HEAD_YAW = {"north": 0.0, "east": -90.0, "south": 180.0, "west": 90.0}
_STRENGTH = {"firmly": 2.5, "loosely": 0.35}
DEFAULT_GAP_CM = 0.5

Range = tuple[float, float]


@dataclass(frozen=True)
class Stance:
    """A named way to start: pitch of the trunk (90 is face down) and joint angles, degrees."""

    pitch: float
    joints: dict[str, float]


STANCES: dict[str, Stance] = {
    "standing": Stance(0, dict(hip_flex=15, knee=20, sh_up=-30, elb=10, hip_abd=8)),
    "kneeling": Stance(0, dict(hip_flex=50, knee=125, ank=-40, hip_abd=18, sh_fw=30, sh_up=-20)),
    "squatting": Stance(0, dict(hip_flex=110, knee=120, hip_abd=20, sh_fw=40, sh_up=-20)),
    "seated": Stance(0, dict(hip_flex=85, knee=60, hip_abd=12, sh_fw=40, elb=30, spine_flex=20)),
    "supine": Stance(-90, dict(hip_flex=50, knee=80, hip_abd=12, sh_fw=40, elb=40, neck_flex=18)),
    "prone": Stance(90, dict(hip_flex=10, knee=15, sh_up=20, elb=60, neck_flex=-15, ank=-40)),
    "on fours": Stance(65, dict(hip_flex=75, knee=85, sh_fw=60, sh_up=-10, neck_flex=-15, ank=-40)),
    "turtled": Stance(
        60,
        dict(hip_flex=115, knee=130, spine_flex=50, neck_flex=25, sh_fw=70, sh_up=-10, elb=60,
             ank=-40, hip_abd=8),
    ),
}  # fmt: skip


@dataclass(frozen=True)
class Start:
    """Where the solver begins for one athlete; every number is a range.

    Attributes
    ----------
    yaw, pitch, roll : tuple of float
        Degrees: about the vertical, forwards, and about the body's long axis to its left.
    at : three ranges
        Of the pelvis, cm.
    joints : dict of str to range
        Degrees by joint name; what is not named is 0.
    """

    yaw: Range
    pitch: Range
    roll: Range
    at: tuple[Range, Range, Range]
    joints: dict[str, Range]


@dataclass(frozen=True)
class Contact:
    """One statement.

    Attributes
    ----------
    kind : str
    first : Spot
    second : Spot or None
    value : range
        cm: allowed gap, least distance, height or difference in height, by kind.
    direction : unit vector, for ``direction``
    weight : float
    """

    kind: Kind
    first: Spot
    second: Spot | None = None
    value: Range = (0.0, 0.0)
    direction: tuple[float, float, float] = (0.0, 0.0, 0.0)
    weight: float = 1.0


@dataclass(frozen=True)
class Template:
    """A position written as contacts.

    Attributes
    ----------
    name, position, about : str
    top : {"A", None}
    starts : Start of A, Start of B
    contacts : always held
    choices : for each ``one of``, the alternatives
    text : str
        As written.
    still : bool
        For pictures only: nobody stays in it, so that bouts leave it out.
    """

    name: str
    position: str
    top: Literal["A"] | None
    about: str
    starts: tuple[Start, Start]
    contacts: tuple[Contact, ...]
    choices: tuple[tuple[tuple[Contact, ...], ...], ...]
    text: str
    still: bool = False


HEADINGS = ("position", "top", "about", "still")
"""What stands above the statements, each with a colon."""


class _Unreadable(Exception):
    """A statement that is not understood; the message says what to write instead."""


def _range(text: str) -> Range:
    low, _, high = text.partition("..")
    try:
        first, last = sorted((float(low), float(high or low)))
        return first, last
    except ValueError:
        raise _Unreadable(f"'{text}' is no number or range such as 12..37") from None


def _direction(text: str) -> tuple[float, float, float]:
    total = np.zeros(3)
    for term in re.split(r" and |, ", text):
        factor, _, word = term.strip().rpartition(" ")
        if word not in _COMPASS:
            raise _Unreadable(f"'{word}' is no direction; use {', '.join(_COMPASS)}")
        total += float(factor or 1) * np.array(_COMPASS[word])
    x, y, z = total / np.linalg.norm(total)
    return float(x), float(y), float(z)


def _pairs(first: str, second: str) -> Iterator[tuple[Spot, Spot]]:
    """Match places: one with one, each of a plural with one, or plural with plural in order."""
    a, b = spots(first), spots(second)
    if len(a) == 1 and len(b) == 2:
        raise _Unreadable(f"'{first}' is one place but '{second}' two")
    yield from zip(a, b if len(b) == len(a) else b * len(a), strict=True)


def _each(phrase: str) -> Iterator[Spot]:
    """``A knees, left toes`` → every spot; the athlete is said once."""
    who = phrase.split(" ", 1)[0]
    for part in re.split(r", | and ", phrase):
        yield from spots(part if part.startswith(("A ", "B ")) else f"{who} {part}")


_PATTERNS: tuple[tuple[str, re.Pattern[str]], ...] = tuple(
    (kind, re.compile(pattern))
    for kind, pattern in (
        ("mat", r"(?P<first>.+) on mat"),
        ("apart", r"(?P<first>.+) apart from (?P<second>.+) by (?P<value>\S+)"),
        ("touch", r"(?P<first>.+) to (?P<second>.+?)(?: within (?P<value>\S+))?"),
        ("height", r"(?P<first>.+) at height (?P<value>\S+)"),
        ("below", r"(?P<first>.+?) below (?P<second>.+?)(?: by (?P<value>\S+))?"),
        ("above", r"(?P<second>.+?) above (?P<first>.+?)(?: by (?P<value>\S+))?"),
        ("points", r"(?P<first>.+) points (?P<towards>.+)"),
        ("faces", r"(?P<first>.+) faces (?P<towards>.+)"),
    )
)


@functools.lru_cache(maxsize=1 << 14)
def parse_statement(text: str) -> tuple[Contact, ...]:
    """Read one statement into the contacts it stands for (two for a plural).

    Raises
    ------
    MatlineError
        If it is not understood.
    """
    try:
        return tuple(_statement(text.strip()))
    except KeyError as error:
        raise MatlineError(f"'{text}': '{error.args[0]}' is no place on a body.") from error
    except _Unreadable as error:
        raise MatlineError(f"'{text}': {error}.") from error


def _statement(text: str) -> Iterator[Contact]:
    body, _, strength = text.rpartition(", ")
    weight = _STRENGTH.get(strength, 1.0)
    body = body if strength in _STRENGTH else text
    for kind, pattern in _PATTERNS:
        match = pattern.fullmatch(body)
        if match:
            yield from _contacts(kind, match.groupdict(), weight)
            return
    raise _Unreadable("no statement; see the list in contacts.py")


def _contacts(kind: str, part: dict[str, str], weight: float) -> Iterator[Contact]:
    if kind in ("points", "faces"):
        start, end = segment(part["first"]) if kind == "points" else front(part["first"])
        towards = _direction(part["towards"])
        yield Contact("direction", start, end, direction=towards, weight=weight)
        return
    default = str(DEFAULT_GAP_CM) if kind == "touch" else "0"
    value = _range(part.get("value") or default)
    if kind == "mat":
        yield from (Contact("mat", spot, weight=weight) for spot in _each(part["first"]))
    elif kind == "height":
        yield from (Contact("height", spot, None, value, weight=weight)
                    for spot in _each(part["first"]))  # fmt: skip
    else:
        known: dict[str, Kind] = {"touch": "touch", "apart": "apart"}
        for a, b in _pairs(part["first"], part["second"]):
            yield Contact(known.get(kind, "below"), a, b, value, weight=weight)


_START = re.compile(r"(?P<who>[AB]) starts (?P<how>.+)")


def _start(how: str) -> Start:
    posture, _, angles = how.partition(";")
    name, *words = [w.strip() for w in posture.split(",")]
    if name not in STANCES:
        raise _Unreadable(f"'{name}' is no stance; use {', '.join(STANCES)}")
    stance = STANCES[name]
    yaw, pitch, roll, turn = (0.0, 0.0), (0.0, 0.0), (0.0, 0.0), (0.0, 0.0)
    at: tuple[Range, ...] = ((0.0, 0.0),) * 3
    for word in words:
        verb, _, rest = word.partition(" ")
        if verb == "facing" and rest in _FACING_YAW:
            yaw = (_FACING_YAW[rest],) * 2
        elif verb == "head" and rest in _HEAD_YAW:
            lying_back = stance.pitch < 0
            yaw = ((_HEAD_YAW if lying_back else _FACING_YAW)[rest],) * 2
        elif verb == "leaning":
            pitch = _range(rest)
        elif verb == "rolled":
            roll = _range(rest)
        elif verb == "turned":
            turn = _range(rest)
        elif verb == "at" and len(rest.split()) == 3:
            at = tuple(_range(number) for number in rest.split())
        else:
            raise _Unreadable(f"'{word}' is not understood in a start")
    joints = {j: (v, v) for name, v in stance.joints.items() for j in _joint_names(name)}
    for term in filter(None, (t.strip() for t in angles.split(","))):
        name, _, number = term.rpartition(" ")
        joints |= {j: _range(number) for j in _joint_names(name)}
    return Start(
        yaw=(yaw[0] + turn[0], yaw[1] + turn[1]),
        pitch=(stance.pitch + pitch[0], stance.pitch + pitch[1]),
        roll=roll,
        at=(at[0], at[1], at[2]),
        joints=joints,
    )


def _joint_names(phrase: str) -> list[str]:
    """``knee`` is both knees, ``left knee`` one, ``spine_flex`` itself."""
    side, _, name = phrase.rpartition(" ")
    found = [f"{name}.{side[0].upper()}"] if side else [name, f"{name}.L", f"{name}.R"]
    found = [joint for joint in found if joint in JOINT_INDEX]
    if not found:
        raise _Unreadable(f"'{phrase}' is no joint")
    return found


def _parse_one(text: str) -> Template:
    """Read one template; raises _Unreadable or MatlineError without saying where."""
    lines = text.splitlines()
    name = lines[0].lstrip("# ").strip()
    header: dict[str, str] = {}
    starts: dict[str, Start] = {}
    contacts: list[Contact] = []
    choices: list[list[tuple[Contact, ...]]] = []
    for raw in lines[1:]:
        line = raw.strip()
        key, colon, value = line.partition(":")
        start = _START.fullmatch(line)
        if not line:
            continue
        if colon and key in HEADINGS:
            header[key] = f"{header.get(key, '')} {value.strip()}".strip()
        elif start:
            starts[start["who"]] = _start(start["how"])
        elif line == "one of:":
            choices.append([])
        elif line.startswith("- "):
            alternative = [] if line == "- nothing" else _statements(line[2:])
            choices[-1].append(tuple(alternative))
        else:
            contacts += _statements(line)
    key = header.get("position", "")
    if key not in POSITION_KEYS:
        raise _Unreadable(f"position '{key}' is not in the vocabulary")
    if BY_KEY[key].has_top != (header.get("top") == "A"):
        raise _Unreadable(f"{key} needs 'top: {'A' if BY_KEY[key].has_top else 'none'}'")
    if header.get("still", "yes") != "yes":
        raise _Unreadable(f"write 'still: yes' or nothing, not 'still: {header['still']}'")
    if set(starts) != {"A", "B"}:
        raise _Unreadable("needs 'A starts …' and 'B starts …'")
    return Template(
        name=name,
        position=key,
        top="A" if BY_KEY[key].has_top else None,
        about=header.get("about", ""),
        starts=(starts["A"], starts["B"]),
        contacts=tuple(contacts),
        choices=tuple(tuple(c) for c in choices),
        text=text.strip(),
        still="still" in header,
    )


def _statements(line: str) -> list[Contact]:
    return [c for part in line.split(";") if part.strip() for c in parse_statement(part)]


def parse(text: str, source: str = "text") -> tuple[Template, ...]:
    """Read all templates of a text.

    Parameters
    ----------
    text : str
    source : str
        Named in errors.

    Raises
    ------
    MatlineError
        One sentence: which template of which source, which statement, what is wrong.
    """
    found = []
    for block in re.split(r"^(?=# )", text, flags=re.MULTILINE):
        if not block.startswith("# "):
            continue
        try:
            found.append(_parse_one(block))
        except (_Unreadable, MatlineError) as error:
            title = block.splitlines()[0][2:]
            raise MatlineError(f"{source}, template '{title}': {error}") from error
    return tuple(found)
