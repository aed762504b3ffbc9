"""What people wear, their skin and their hair: a look is a few numbers that the shaders read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import IntEnum

import numpy as np

SHELLS_SHORT = 5
"""Layers that short hair is drawn from; long hair takes twice as many."""


class LookSlot(IntEnum):
    """Rows of a look: three of colour and one of something else, unless said otherwise."""

    COMPLEXION = 0  # ..., gloss
    HAIR = 1  # ..., length in metres
    HAIR2 = 2  # hairline up (m), density 0..1, curl 0..1, tail length (m)
    BEARD = 3  # beard, shaved scalp, brows, tattoos: 0..1 each
    TOP = 4  # ..., pattern
    TOP2 = 5  # ..., scale of the pattern (rash guard), patches worn (gi)
    TOP3 = 6  # ..., turn of the pattern in radians; colour of the lapel (gi)
    TOP_CUT = 7  # sleeve end along the arm, hem up the body, neckline, photo
    BOTTOM = 8  # ..., pattern
    BOTTOM2 = 9  # ..., scale
    BOTTOM3 = 10  # ..., turn; above 3: a stripe down the side
    BOTTOM_CUT = 11  # trouser end, waist, end of leggings, photo
    BELT = 12  # ..., 1 when a gi is worn
    BELT2 = 13  # ..., unused
    CLOTH = 14  # folds, weave, looseness, seed
    CLOTH2 = 15  # sleeves in the second colour, unused ×3
    KNEE = 16  # ..., pads worn
    FOOT = 17  # ..., 0 bare, 1 socks or shoes
    HEADGEAR = 18  # ..., ear guards worn
    LEG = 19  # leggings: ..., pattern
    PERSON = 20  # set by the renderer: eye height, eye depth, belt height, depth of the middle


NO_LEGGINGS = 9.0
NO_TROUSERS = 9.0
NO_TOP = -1.0
PLAIN, STRIPES, CAMOUFLAGE, GRADIENT, PANELS, SHARDS, PHOTO, BAND, DISC = range(9)


@dataclass(frozen=True)
class Look:
    """One person's appearance.

    Attributes
    ----------
    slots : ndarray, float32, (len(LookSlot), 4)
    gi : bool
    hair_length, tail : float
        Metres; 0 for none.
    bun : bool
    description : mapping
        Plain words for the truth files.
    """

    slots: np.ndarray
    gi: bool
    hair_length: float
    tail: float
    bun: bool
    description: Mapping[str, str] = field(default_factory=dict)

    @property
    def loose_trousers(self) -> bool:
        """Whether trousers or shorts are worn over the legs."""
        return bool(self.slots[LookSlot.BOTTOM_CUT, 0] < 5.0)

    def main_colours(self) -> np.ndarray:
        """Linear colour of top and bottom, (2, 3); skin where bare."""
        S = LookSlot
        bare = not self.gi and self.slots[S.TOP_CUT, 0] <= 0
        bottom = S.BOTTOM if self.loose_trousers else S.LEG
        return self.slots[[S.COMPLEXION if bare else S.TOP, bottom], :3]


# Linear colours, darkest to lightest skin.
_SKINS = np.array(
    [
        [0.055, 0.028, 0.018], [0.11, 0.055, 0.032], [0.20, 0.105, 0.06], [0.32, 0.18, 0.105],
        [0.44, 0.26, 0.165], [0.55, 0.34, 0.23], [0.63, 0.41, 0.30], [0.70, 0.49, 0.38],
    ]
)  # fmt: skip
_HAIRS = np.array(
    [
        [0.008, 0.007, 0.006], [0.018, 0.011, 0.007], [0.05, 0.026, 0.013], [0.12, 0.065, 0.03],
        [0.28, 0.18, 0.08], [0.18, 0.055, 0.02], [0.25, 0.24, 0.23],
    ]
)  # fmt: skip
_HAIR_SHARES = (0.30, 0.27, 0.18, 0.10, 0.07, 0.03, 0.05)
_GIS = {
    "white": (0.78, 0.78, 0.75), "offwhite": (0.66, 0.63, 0.55), "blue": (0.03, 0.09, 0.34),
    "royal": (0.05, 0.15, 0.55), "navy": (0.012, 0.02, 0.07), "black": (0.012, 0.012, 0.014),
    "grey": (0.22, 0.23, 0.24), "green": (0.06, 0.10, 0.05), "sand": (0.40, 0.32, 0.21),
    "pink": (0.55, 0.16, 0.26), "wine": (0.16, 0.012, 0.03), "purple": (0.12, 0.04, 0.22),
}  # fmt: skip
_GI_SHARES = np.array([0.30, 0.06, 0.17, 0.08, 0.08, 0.16, 0.04, 0.03, 0.02, 0.02, 0.02, 0.02])
_BELTS = {
    "white": (0.75, 0.75, 0.72), "blue": (0.02, 0.07, 0.38), "purple": (0.14, 0.03, 0.22),
    "brown": (0.10, 0.04, 0.018), "black": (0.01, 0.01, 0.012), "grey": (0.25, 0.25, 0.26),
    "yellow": (0.70, 0.48, 0.03), "orange": (0.70, 0.22, 0.02), "green": (0.02, 0.22, 0.06),
}  # fmt: skip


def random_looks(rng: np.random.Generator, women: Sequence[bool], photos: int) -> tuple[Look, ...]:
    """Dress the two athletes of a bout, in one kind of clothing.

    Parameters
    ----------
    rng : numpy Generator
    women : sequence of bool
        One an athlete.
    photos : int
        How many photographs prints may use.

    Returns
    -------
    tuple of Look
        Half the pairs in gis wear the same colour, as in training; contests often set two.
    """
    gi = rng.random() < 0.5
    if gi:
        first = _gi_colour(rng)
        same = rng.random() < 0.5
        colours = [first, first if same else _gi_colour(rng)]
        return tuple(gi_look(rng, w, c) for w, c in zip(women, colours, strict=True))
    if rng.random() < 0.12:  # one in a gi, one without: mixed training
        return gi_look(rng, women[0], _gi_colour(rng)), nogi_look(rng, women[1], photos)
    club = nogi_look(rng, women[0], photos)
    if rng.random() < 0.2:  # both in the club's clothes
        other = nogi_look(rng, women[1], photos)
        rows = [LookSlot.TOP, LookSlot.TOP2, LookSlot.TOP3, LookSlot.TOP_CUT, LookSlot.CLOTH2]
        if club.slots[LookSlot.TOP_CUT, 0] > 0:
            other.slots[rows] = club.slots[rows]
        return club, other
    return club, nogi_look(rng, women[1], photos)


def gi_look(rng: np.random.Generator, woman: bool, colour: str | None = None) -> Look:
    """A gi with belt; `colour` names one of the usual colours."""
    colour = colour or _gi_colour(rng)
    slots, hair, words = _person(rng, woman)
    cloth = np.array(_GIS[colour]) * rng.uniform(0.85, 1.1)
    belt = str(rng.choice(list(_BELTS), p=(0.22, 0.22, 0.16, 0.10, 0.18, 0.03, 0.03, 0.03, 0.03)))
    trousers = cloth if rng.random() < 0.85 else np.array(_GIS[_gi_colour(rng)])
    lapel = cloth * rng.uniform(0.85, 1.05) if rng.random() < 0.85 else _vivid(rng)
    S = LookSlot
    slots[S.TOP] = *cloth, PLAIN
    patch = _vivid(rng) if rng.random() < 0.4 else np.array(_GIS[_gi_colour(rng)])
    slots[S.TOP2] = *patch, float(rng.random() < 0.45)
    slots[S.TOP3] = *lapel, 0
    slots[S.TOP_CUT] = rng.uniform(1.62, 1.98), rng.uniform(1.45, 1.78), 4, 0
    slots[S.BOTTOM] = *trousers, PLAIN
    slots[S.BOTTOM2] = *cloth, 1
    slots[S.BOTTOM_CUT] = rng.uniform(0.02, 0.4), 3.1, NO_LEGGINGS, 0
    slots[S.BELT] = *_BELTS[belt], 1
    bar = (0.35, 0.02, 0.02) if belt == "black" else (0.01, 0.01, 0.01)
    slots[S.BELT2] = *bar, 0
    slots[S.CLOTH] = rng.uniform(0.7, 1.9), rng.uniform(0.5, 1), rng.uniform(0.5, 1.5), _seed(rng)
    if rng.random() < 0.25:  # a rash guard under the jacket shows at the chest
        slots[S.LEG] = *_vivid(rng), PLAIN
    words |= {"kind": "gi", "top": colour, "belt": belt}
    return Look(slots, True, *hair, words)


def nogi_look(rng: np.random.Generator, woman: bool, photos: int) -> Look:
    """Rash guard or bare torso, shorts, leggings or both."""
    slots, hair, words = _person(rng, woman)
    S = LookSlot
    bare = not woman and rng.random() < 0.22
    pattern = int(rng.choice(9, p=(0.28, 0.09, 0.10, 0.09, 0.14, 0.08, 0.10, 0.06, 0.06)))
    base, second, third = _cloth_colour(rng), _cloth_colour(rng), _vivid(rng)
    slots[S.TOP] = *base, pattern
    slots[S.TOP2] = *second, rng.uniform(2, 9)
    slots[S.TOP3] = *third, rng.uniform(0, 2 * np.pi)
    sleeve = float(rng.choice((rng.uniform(1.75, 1.97), rng.uniform(0.35, 0.8), 0.03),
                              p=(0.50, 0.36, 0.14)))  # fmt: skip
    neck = rng.uniform(3.95, 4.12)
    hem = rng.uniform(3.4, 3.5) if woman and rng.random() < 0.1 else rng.uniform(2.45, 2.85)
    slots[S.TOP_CUT] = NO_TOP if bare else sleeve, 9.0 if bare else hem, neck, _photo(rng, photos)
    slots[S.CLOTH2] = float(rng.random() < 0.3), 0, 0, 0
    legs = rng.choice(("shorts", "leggings", "both"), p=(0.58, 0.20, 0.22))
    bottom = _cloth_colour(rng) if rng.random() < 0.5 else np.full(3, rng.uniform(0.008, 0.05))
    slots[S.BOTTOM] = *bottom, int(rng.choice(9, p=(0.55, 0.05, 0.1, 0.05, 0, 0.1, 0.1, 0.05, 0)))
    slots[S.BOTTOM2] = *_cloth_colour(rng), rng.uniform(2, 9)
    slots[S.BOTTOM3] = *_vivid(rng), rng.uniform(0, 2 * np.pi)
    shorts_end = NO_TROUSERS if legs == "leggings" else rng.uniform(1.08, 1.72)
    leggings_end = NO_LEGGINGS if legs == "shorts" else float(rng.choice((0.12, 0.9)))
    slots[S.BOTTOM_CUT] = shorts_end, rng.uniform(2.8, 3.02), leggings_end, _photo(rng, photos)
    slots[S.LEG] = *(_cloth_colour(rng) if rng.random() < 0.4 else np.full(3, 0.012)), PLAIN
    if rng.random() < 0.25:
        slots[S.LEG, 3] = rng.choice((CAMOUFLAGE, SHARDS, PHOTO, GRADIENT))
    slots[S.CLOTH] = rng.uniform(0.4, 1.1), 0.4, rng.uniform(0.4, 1.6), _seed(rng)
    if rng.random() < 0.15:
        slots[S.KNEE] = *np.full(3, 0.012), 1
    if rng.random() < 0.14:  # wrestling shoes
        slots[S.FOOT] = *_cloth_colour(rng), 1
    if rng.random() < 0.07:
        slots[S.HEADGEAR] = *_cloth_colour(rng), 1
    words |= {"kind": "no-gi", "top": "bare" if bare else "rash guard", "legs": str(legs)}
    return Look(slots, False, *hair, words)


def bystander_look(rng: np.random.Generator, woman: bool, photos: int, referee: bool) -> Look:
    """Street clothes, or a referee's dark shirt and trousers; a third still wear their gi."""
    if not referee and rng.random() < 0.35:
        return gi_look(rng, woman)
    look = nogi_look(rng, woman, photos)
    S, slots = LookSlot, look.slots
    dark = np.full(3, rng.uniform(0.008, 0.05))
    shirt = rng.choice(3) if referee else 3
    colour = (dark, np.array([0.7, 0.7, 0.7]), np.array([0.05, 0.12, 0.4]), _cloth_colour(rng))
    slots[S.TOP] = *colour[shirt], PLAIN if referee else rng.choice((PLAIN, STRIPES, BAND, PHOTO))
    slots[S.TOP_CUT, :3] = rng.choice((0.5, 0.75, 1.95)), 2.5, 4.05
    slots[S.CLOTH2] = 0
    slots[S.BOTTOM] = *(dark if referee else rng.uniform(0.01, 0.3, 3)), PLAIN
    slots[S.BOTTOM_CUT, :3] = (0.0 if rng.random() < 0.8 else 1.2), 3.0, NO_LEGGINGS
    slots[S.FOOT] = *rng.uniform(0.01, 0.6, 3), 0.0 if referee and rng.random() < 0.5 else 1.0
    slots[S.KNEE] = slots[S.HEADGEAR] = 0
    words = dict(look.description) | {"kind": "referee" if referee else "street"}
    return Look(slots, False, look.hair_length, look.tail, look.bun, words)


def _person(
    rng: np.random.Generator, woman: bool
) -> tuple[np.ndarray, tuple[float, float, bool], dict[str, str]]:
    """Skin and hair: the slots so far, (length, tail, bun), and words."""
    S = LookSlot
    slots = np.zeros((len(LookSlot), 4), np.float32)
    slots[S.BOTTOM_CUT] = NO_TROUSERS, 3, NO_LEGGINGS, 0
    tone = rng.integers(len(_SKINS) - 1) + rng.random()
    skin = _SKINS[int(tone)] * (1 - tone % 1) + _SKINS[int(tone) + 1] * (tone % 1)
    slots[S.COMPLEXION] = *(skin * rng.uniform(0.9, 1.1, 3) ** 0.5), rng.uniform(0.03, 0.16)
    dark = tone < 4 and rng.random() < 0.85
    hair = _HAIRS[0 if dark else rng.choice(len(_HAIRS), p=_HAIR_SHARES)] * rng.uniform(0.7, 1.3)
    if rng.random() < 0.012:
        hair = _vivid(rng)
    style, length, tail, bun = _hair(rng, woman)
    curl = float(rng.random() < (0.8 if tone < 2.5 else 0.15))
    slots[S.HAIR] = *hair, length
    slots[S.HAIR2] = rng.normal(0, 0.008), rng.uniform(0.75, 1.25), curl, tail
    shaved = {"bald": rng.uniform(0.0, 0.12), "cropped": rng.uniform(0.4, 0.7)}.get(style, 0.85)
    beard = 0.0 if woman else float(rng.choice((0, rng.uniform(0.1, 0.35), rng.uniform(0.6, 0.95)),
                                               p=(0.45, 0.3, 0.25)))  # fmt: skip
    ink = float(rng.random() < 0.2) * rng.uniform(0.5, 1)
    slots[S.BEARD] = beard, shaved, rng.uniform(0.5, 0.9), ink
    slots[S.CLOTH] = 0.8, 0.5, 1.0, _seed(rng)
    words = {"hair": style, "skin": str(int(tone))}
    return slots, (length, tail, bun), words


def _hair(rng: np.random.Generator, woman: bool) -> tuple[str, float, float, bool]:
    """Style, length of the cap in metres, length of a tail in metres, whether a bun."""
    if woman:
        style = rng.choice(("bun", "tail", "short", "braid"), p=(0.4, 0.35, 0.1, 0.15))
    else:
        style = rng.choice(
            ("bald", "cropped", "short", "medium", "bun", "tail"),
            p=(0.10, 0.22, 0.40, 0.18, 0.06, 0.04),
        )
    length = {
        "bald": 0.0, "cropped": 0.004, "short": rng.uniform(0.008, 0.02),
        "medium": rng.uniform(0.022, 0.05),
    }.get(str(style), rng.uniform(0.006, 0.012))  # fmt: skip
    tail = {"tail": rng.uniform(0.14, 0.34), "braid": rng.uniform(0.2, 0.4)}.get(str(style), 0.0)
    return str(style), float(length), float(tail), style == "bun"


def _gi_colour(rng: np.random.Generator) -> str:
    return str(rng.choice(list(_GIS), p=_GI_SHARES / _GI_SHARES.sum()))


def _vivid(rng: np.random.Generator) -> np.ndarray:
    """A saturated colour."""
    hue = rng.random() * 6
    ramp = np.abs((hue + np.array([0, 4, 2])) % 6 - 3) - 1
    return (np.clip(ramp, 0, 1) * 0.85 + 0.08) ** 2.2 * rng.uniform(0.3, 1.0)


def _cloth_colour(rng: np.random.Generator) -> np.ndarray:
    """Dark, light, or anything: sports clothing is mostly dark or strong."""
    what = rng.choice(4, p=(0.34, 0.14, 0.34, 0.18))
    if what == 0:
        return np.full(3, rng.uniform(0.006, 0.05)) * rng.uniform(0.8, 1.2, 3)
    if what == 1:
        return np.full(3, rng.uniform(0.35, 0.8))
    return _vivid(rng) if what == 2 else rng.uniform(0.02, 0.6, 3)


def _photo(rng: np.random.Generator, photos: int) -> float:
    return float(rng.integers(max(photos, 1)))


def _seed(rng: np.random.Generator) -> float:
    return float(rng.uniform(0, 30))
