"""Parts of positions, as text: what can be combined, with what, and how often.

A recipe is a position with slots, and every slot offers parts of which one is drawn, slot after
slot::

    # half guard
    position: half_guard
    meets: opposite

    legs:
    - knee shield; family half guard, knee shield; gives shield; often 2
      B front left shin to A stomach within 6
      B bends left hip_flex 105, left knee 90
    - one hook; not on elbow

    A left hand from over, posts:

    # pool over
    - underhook; not flat
      X this hand to Y near shoulder blade within 8

Statements are those of templates (`models.training.scenes.contacts`). A start is built up part by
part: ``B starts supine, head north, at 0 0 12`` says it anew, and ``A leans``, ``turns``,
``rolls`` (degrees), ``moves`` (cm east, north, up) and ``bends`` (joint angles) change what was
said so far; what several parts say adds up, but for ``bends``, where the last word counts.

Of a part: ``family`` is the name its compositions go under, ``gives`` are words that later parts
may ask for (``needs``) or rule out (``not``), ``often`` is its weight. A slot that no part fits
stays empty. In a pool, which serves both athletes, X is the one whose hand it is and Y the other;
``this`` and ``other`` are the hand's side and the opposite one, ``near`` and ``far`` the sides of
Y that the hand meets (a leg can draw from a pool too). ``meets: opposite`` in a recipe means chest
to chest, so that a left hand meets a right side; ``same`` means chest to back or head to hips; a
slot can say it for itself. The words ``A hands busy`` and ``A left hand busy`` keep a hand from
drawing. A slot called ``family`` takes the first part that fits.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field

from pipeline.errors import MatlineError

_OTHER = {"left": "right", "right": "left"}
_HAND_SLOT = re.compile(
    r"(?P<who>[AB]) (?P<side>left|right) (?P<limb>hand|leg)"
    r"(?: meeting (?P<near>left|right))? from (?P<pools>.+)"
)
_BOTH_SLOT = re.compile(r"(?P<who>[AB]) hands from (?P<pools>.+)")
_START = re.compile(r"[AB] starts ")
_HEADINGS = ("position", "meets")


@dataclass(frozen=True)
class Part:
    """One thing that can be drawn for a slot.

    Attributes
    ----------
    name : str
    lines : tuple of str
        Statements and changes of the starts.
    family : str
        The name of the family that it makes a composition belong to; ``""`` where it does not.
    gives, needs, bars : frozenset of str
        Words it adds, words that have to be there, and words that must not.
    often : float
        Weight in the draw.
    """

    name: str
    lines: tuple[str, ...] = ()
    family: str = ""
    gives: frozenset[str] = frozenset()
    needs: frozenset[str] = frozenset()
    bars: frozenset[str] = frozenset()
    often: float = 1.0

    def fits(self, words: frozenset[str] | set[str]) -> bool:
        """Whether it can be drawn after parts that gave these words."""
        return self.needs <= words and not (self.bars & words)


@dataclass(frozen=True)
class Slot:
    """A choice of parts."""

    name: str
    parts: tuple[Part, ...]


@dataclass(frozen=True)
class Recipe:
    """How one kind of position is put together.

    Attributes
    ----------
    name : str
        The family of compositions in which no part names another.
    position : str
    slots : tuple of Slot
        In the order in which they are drawn.
    often : float
        Its share among all recipes.
    """

    name: str
    position: str
    slots: tuple[Slot, ...]
    often: float = 1.0

    def families(self) -> tuple[str, ...]:
        """Every family that its compositions may belong to, in the order of the text."""
        named = [p.family for slot in self.slots for p in slot.parts if p.family]
        plain = [] if any(_always_names(slot) for slot in self.slots) else [self.name]
        return tuple(dict.fromkeys([*plain, *named]))


def _always_names(slot: Slot) -> bool:
    return all(part.family for part in slot.parts)


@dataclass
class _Block:
    """A recipe or a pool as written: headings, and the lines of each slot."""

    title: str
    source: str
    headings: dict[str, str] = field(default_factory=dict)
    slots: list[tuple[str, list[Part]]] = field(default_factory=list)

    def wrong(self, line: str, what: str) -> MatlineError:
        return MatlineError(f"{self.source}, '{self.title}': '{line}': {what}.")


def read_recipes(texts: dict[str, str]) -> tuple[Recipe, ...]:
    """Read all recipes of several texts; a pool of one serves the recipes of all.

    Parameters
    ----------
    texts : dict of str to str
        By the name that errors give.

    Raises
    ------
    MatlineError
        If a line is not understood or a pool is not there; the statements themselves are read
        when a composition is drawn.
    """
    blocks = [b for source, text in texts.items() for b in _blocks(text, source)]
    pools = {b.title.removeprefix("pool "): b for b in blocks if b.title.startswith("pool ")}
    parts = {name: tuple(p for _, ps in b.slots for p in ps) for name, b in pools.items()}
    return tuple(_recipe(b, parts) for b in blocks if not b.title.startswith("pool "))


def _blocks(text: str, source: str) -> Iterator[_Block]:
    for written in re.split(r"^(?=# )", text, flags=re.MULTILINE):
        if written.startswith("# "):
            yield _read_block(written, source)


def _read_block(written: str, source: str) -> _Block:
    title, *lines = written.splitlines()
    block = _Block(title[2:].strip(), source)
    if block.title.startswith("pool "):
        block.slots.append(("", []))
    head = ""
    said: list[str] = []
    for line in [*(raw.strip() for raw in lines), "- end"]:
        key, colon, value = line.partition(":")
        opens = line.startswith("- ") or (colon and not value)
        if opens and head:
            block.slots[-1][1].append(_part(block, head, said))
            head, said = "", []
        if line.startswith("- "):
            if line != "- end" and not block.slots:
                raise block.wrong(line, "a part stands under a slot, such as 'legs:'")
            head = line
        elif colon and not value:
            block.slots.append((key, []))
        elif colon and (key in _HEADINGS or key == "often"):
            block.headings[key] = value.strip()
        elif line and not head:
            raise block.wrong(line, "a statement stands under a part, such as '- flat'")
        elif line:
            said += [line] if _START.match(line) else [s.strip() for s in line.split(";")]
    return block


def _part(block: _Block, head: str, lines: list[str]) -> Part:
    name, *terms = [term.strip() for term in head[2:].split(";")]
    said: dict[str, str] = {}
    for term in terms:
        key, _, value = term.partition(" ")
        if key not in ("family", "gives", "needs", "not", "often"):
            raise block.wrong(head, f"'{key}' is none of family, gives, needs, not, often")
        said[key] = value.strip()

    def words(key: str) -> frozenset[str]:
        return frozenset(w.strip() for w in said.get(key, "").split(",") if w.strip())

    try:
        often = float(said.get("often", "1"))
    except ValueError:
        raise block.wrong(head, f"'{said['often']}' is no number") from None
    return Part(
        name, tuple(lines), said.get("family", ""),
        words("gives"), words("needs"), words("not"), often,
    )  # fmt: skip


def _recipe(block: _Block, pools: dict[str, tuple[Part, ...]]) -> Recipe:
    if "position" not in block.headings:
        raise block.wrong("position:", "a recipe says its position")
    slots = []
    for name, own in block.slots:
        parts = [*own, *_from_pools(block, name, pools)]
        if not parts:
            raise block.wrong(f"{name}:", "the slot has no parts")
        slots.append(Slot(name.partition(" from ")[0], tuple(parts)))
    often = float(block.headings.get("often", "1"))
    return Recipe(block.title, block.headings["position"], tuple(slots), often)


def _from_pools(block: _Block, name: str, pools: dict[str, tuple[Part, ...]]) -> Iterator[Part]:
    one, both = _HAND_SLOT.fullmatch(name), _BOTH_SLOT.fullmatch(name)
    match = one or both
    if not match:
        return
    side = one["side"] if one else "left"
    opposite = block.headings.get("meets", "opposite") == "opposite"
    near = (one and one["near"]) or (_OTHER[side] if opposite else side)
    for pool in match["pools"].split(", "):
        if pool not in pools:
            raise block.wrong(f"{name}:", f"there is no pool '{pool}'")
        for part in pools[pool]:
            yield _meant(part, match["who"], side, near, one["limb"] if one else "")


def _meant(part: Part, who: str, side: str, near: str, limb: str) -> Part:
    """Say for whom a part of a pool is meant, and for which limb; ``""`` is both hands."""
    words = {
        "X": who, "Y": "AB"[who == "A"], "this": side, "other": _OTHER[side],
        "near": near, "far": _OTHER[near],
    }  # fmt: skip

    def said(line: str) -> str:
        return re.sub(r"\b(X|Y|this|other|near|far)\b", lambda m: words[m[0]], line)

    both = frozenset({f"{who} hands busy"} if not limb and part.lines else ())
    taken = {f"{who} hands busy", f"{who} {side} hand busy"} if limb == "hand" else set()
    return Part(
        f"{who} {side} {part.name}" if limb else f"{who} {part.name}",
        tuple(said(line) for line in part.lines),
        part.family,
        frozenset(said(w) for w in part.gives) | both,
        frozenset(said(w) for w in part.needs),
        frozenset(said(w) for w in part.bars) | taken,
        part.often,
    )
