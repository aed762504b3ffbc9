"""Drawing compositions: one part for each slot, put together as the text of a template."""

from __future__ import annotations

import functools
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from importlib.resources import files

import numpy as np

from pipeline.timeline.vocabulary import BY_KEY

from ..contacts import Template, parse
from .language import Part, Recipe, read_recipes

_START = re.compile(r"(?P<who>[AB]) starts (?P<how>.+)")
_CHANGE = re.compile(r"(?P<who>[AB]) (?P<verb>leans|turns|rolls|moves|bends) (?P<how>.+)")
_ANGLES = {"leans": "leaning", "turns": "turned", "rolls": "rolled"}

# How far, besides what the parts say, a start may be off: degrees, and cm.
_WIDER_DEGREES = 12.0
_WIDER_CM = 5.0


@functools.lru_cache(maxsize=1)
def recipes() -> tuple[Recipe, ...]:
    """All recipes of ``composition/parts``, in the order of the files.

    Raises
    ------
    MatlineError
        If one can't be read.
    """
    texts = sorted((files(__package__) / "parts").iterdir(), key=lambda path: path.name)
    return read_recipes({path.name: path.read_text("utf-8") for path in texts})


def composed(count: int, seed: int, only: Sequence[str] = ()) -> list[Template]:
    """Draw compositions.

    Parameters
    ----------
    count : int
    seed : int
        The same seed gives the same compositions.
    only : sequence of str
        Positions or starts of recipes' names to draw from; all by default.

    Returns
    -------
    list of Template
        Each named ``"<family> / <parts>"``; left and right are as written, since the solver
        mirrors half of what it solves.
    """
    chosen = [
        r
        for r in recipes()
        if not only or any(r.position == word or r.name.startswith(word) for word in only)
    ]
    share = np.array([recipe.often for recipe in chosen])
    rng = np.random.default_rng(seed)
    return [
        compose(chosen[int(rng.choice(len(chosen), p=share / share.sum()))], rng)
        for _ in range(count)
    ]


def compose(recipe: Recipe, rng: np.random.Generator) -> Template:
    """Draw one composition of a recipe.

    Raises
    ------
    MatlineError
        If a statement of a part is not understood.
    """
    words: set[str] = set()
    drawn: list[Part] = []
    for slot in recipe.slots:
        fitting = [part for part in slot.parts if part.often > 0 and part.fits(words)]
        if fitting:
            part = fitting[0] if slot.name == "family" else _one_of(fitting, rng)
            drawn.append(part)
            words |= part.gives
    return _template(recipe, drawn, rng.uniform(0.2, 1.0))


def _one_of(parts: Sequence[Part], rng: np.random.Generator) -> Part:
    share = np.array([part.often for part in parts])
    return parts[int(rng.choice(len(parts), p=share / share.sum()))]


def _template(recipe: Recipe, drawn: Sequence[Part], wider: float) -> Template:
    family = next((part.family for part in reversed(drawn) if part.family), recipe.name)
    shown = "; ".join(part.name for part in drawn if part.lines)
    starts = {"A": _Start(), "B": _Start()}
    statements = []
    for part in drawn:
        for line in part.lines:
            start, change = _START.fullmatch(line), _CHANGE.fullmatch(line)
            if start:
                starts[start["who"]].say(start["how"])
            elif change:
                starts[change["who"]].change(change["verb"], change["how"])
            else:
                statements.append(line)
    top = "A" if BY_KEY[recipe.position].has_top else "none"
    text = "\n".join(
        [
            f"# {family} / {shown}",
            f"position: {recipe.position}",
            f"top: {top}",
            *(f"{who} starts {start.text(wider)}" for who, start in starts.items()),
            *dict.fromkeys(statements),
        ]
    )
    return parse(text, "a composition")[0]


@dataclass
class _Start:
    """A start while it is built up."""

    posture: list[str] = field(default_factory=list)
    angles: dict[str, np.ndarray] = field(default_factory=dict)
    at: np.ndarray = field(default_factory=lambda: np.zeros((3, 2)))
    joints: dict[str, str] = field(default_factory=dict)

    def say(self, how: str) -> None:
        """Begin anew: ``supine, head north, rolled 10..20, at 0 0 12; knee 85``."""
        posture, _, joints = how.partition(";")
        self.posture, self.angles, self.at = [], {}, np.zeros((3, 2))
        for term in (term.strip() for term in posture.split(",")):
            verb, _, rest = term.partition(" ")
            if verb in _ANGLES.values():
                self.angles[verb] = _range(rest)
            elif verb == "at":
                self.at = np.array([_range(number) for number in rest.split()])
            else:
                self.posture.append(term)
        self.joints = {}
        self.change("bends", joints)

    def change(self, verb: str, how: str) -> None:
        """Lean, turn, roll, move or bend what was said so far."""
        if verb == "moves":
            self.at = self.at + np.array([_range(number) for number in how.split()])
        elif verb == "bends":
            for term in filter(None, (term.strip() for term in how.split(","))):
                joint, _, number = term.rpartition(" ")
                self.joints.pop(joint, None)  # the last word stands last
                self.joints[joint] = number
        else:
            name = _ANGLES[verb]
            self.angles[name] = self.angles.get(name, np.zeros(2)) + _range(how)

    def text(self, wider: float) -> str:
        """Return it in the language of templates, with wider ranges."""
        wide = np.array([-1, 1]) * wider
        angles = {name: np.zeros(2) for name in _ANGLES.values()} | self.angles
        said = [
            *self.posture,
            *(f"{name} {_shown(a + wide * _WIDER_DEGREES)}" for name, a in angles.items()),
        ]
        place = [_shown(axis + wide * _WIDER_CM) for axis in self.at]
        bent = ", ".join(f"{joint} {number}" for joint, number in self.joints.items())
        return f"{', '.join(said)}, at {' '.join(place)}; {bent}"


def _range(text: str) -> np.ndarray:
    low, _, high = text.partition("..")
    return np.sort([float(low), float(high or low)])


def _shown(ends: np.ndarray) -> str:
    return f"{ends[0]:.0f}..{ends[1]:.0f}"
