"""Clothes and hair for the second renderer, cut from the body's suit with other lines than ours."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from ..figures import Figure
from .scene_file import Part
from .sheets import Sheet, posed_sheet

# Linear colours: what clothing shops sell, dark first.
_CLOTHS = np.array(
    [
        [0.01, 0.01, 0.012], [0.02, 0.022, 0.03], [0.012, 0.03, 0.13], [0.03, 0.10, 0.40],
        [0.30, 0.02, 0.025], [0.02, 0.12, 0.06], [0.20, 0.20, 0.21], [0.75, 0.74, 0.70],
        [0.60, 0.30, 0.05], [0.35, 0.05, 0.20], [0.10, 0.35, 0.40], [0.62, 0.58, 0.45],
    ]
)  # fmt: skip
_GIS = np.array([[0.80, 0.80, 0.77], [0.04, 0.10, 0.38], [0.014, 0.014, 0.016], [0.02, 0.03, 0.09],
                 [0.68, 0.64, 0.54], [0.25, 0.26, 0.25]])  # fmt: skip
_GI_SHARES = (0.38, 0.24, 0.20, 0.07, 0.07, 0.04)
_BELTS = np.array([[0.78, 0.78, 0.74], [0.03, 0.08, 0.40], [0.15, 0.04, 0.22], [0.09, 0.04, 0.02],
                   [0.012, 0.012, 0.013]])  # fmt: skip
_SKIN_DARK, _SKIN_LIGHT = np.array([0.06, 0.03, 0.02]), np.array([0.72, 0.48, 0.36])
_HAIRS = np.array([[0.006, 0.005, 0.005], [0.02, 0.012, 0.008], [0.06, 0.03, 0.015],
                   [0.25, 0.16, 0.08], [0.2, 0.2, 0.2]])  # fmt: skip
_FAR = 9.0
"""A cut that never bites, in region coordinates."""


@dataclass(frozen=True)
class Outfit:
    """What one person wears.

    Attributes
    ----------
    gi : bool
    top, bottom : ndarray or None, (3,)
        Linear colours; None where nothing is worn.
    trim : ndarray, (3,)
        Belt, or the second colour of a print.
    sleeve, hem, leg : float
        Where sleeves (along the arm), the top (up the body) and the legs end.
    loose : float
        How far cloth stands off, metres.
    skin, hair : ndarray, (3,)
    hair_length : float
        Metres; 0 for none.
    """

    gi: bool
    top: np.ndarray | None
    bottom: np.ndarray
    trim: np.ndarray
    sleeve: float
    hem: float
    leg: float
    loose: float
    skin: np.ndarray
    hair: np.ndarray
    hair_length: float


def random_outfits(rng: np.random.Generator, women: list[bool]) -> list[Outfit]:
    """Dress a pair: half in gis, half of these in one colour."""
    gi = bool(rng.random() < 0.5)
    first = _GIS[rng.choice(len(_GIS), p=_GI_SHARES)]
    same = rng.random() < 0.5
    second = first if same else _GIS[rng.choice(len(_GIS), p=_GI_SHARES)]
    return [
        random_outfit(rng, woman, gi, colour)
        for woman, colour in zip(women, (first, second), strict=True)
    ]


def random_outfit(
    rng: np.random.Generator, woman: bool, gi: bool, colour: np.ndarray | None = None
) -> Outfit:
    """Dress one person; `colour` is the gi's."""
    tone = rng.random() ** 0.8
    skin = _SKIN_DARK ** (1 - tone) * _SKIN_LIGHT**tone * rng.uniform(0.9, 1.1, 3)
    longest = 0.28 if woman else rng.choice((0.0, 0.012, 0.05, 0.16), p=(0.15, 0.4, 0.35, 0.1))
    person: dict[str, Any] = {
        "skin": skin,
        "hair": _HAIRS[0 if tone < 0.4 else rng.integers(len(_HAIRS))],
        "hair_length": float(longest * rng.uniform(0.6, 1.0)),
    }
    if gi:
        colour = _GIS[0] if colour is None else colour
        trousers = colour if rng.random() < 0.85 else _GIS[rng.integers(len(_GIS))]
        belt = _BELTS[rng.integers(len(_BELTS))]
        sleeve, leg = rng.uniform(1.7, 1.95), rng.uniform(0.05, 0.3)
        return Outfit(True, colour, trousers, belt, sleeve, rng.uniform(1.65, 1.85), leg,
                      rng.uniform(0.012, 0.024), **person)  # fmt: skip
    bare = not woman and rng.random() < 0.2
    colours = _CLOTHS[rng.integers(len(_CLOTHS), size=3)] * rng.uniform(0.8, 1.2, (3, 1))
    loose = rng.choice((0.004, rng.uniform(0.014, 0.03)), p=(0.65, 0.35))  # tight, or a T-shirt
    sleeve = rng.choice((1.9, rng.uniform(0.45, 0.75)), p=(0.4, 0.6)) if loose < 0.01 else 0.7
    leg = rng.choice((0.12, rng.uniform(1.05, 1.7)), p=(0.35, 0.65))
    return Outfit(False, None if bare else colours[0], colours[1], colours[2], float(sleeve),
                  float(rng.uniform(2.3, 2.75)), float(leg), float(loose), **person)  # fmt: skip


def dress(
    rng: np.random.Generator, figure: Figure, matrices: np.ndarray, outfit: Outfit, label: int
) -> list[Part]:
    """Make everything that is seen of one person.

    Parameters
    ----------
    rng : numpy Generator
    figure : Figure
    matrices : ndarray, (J, 3, 4)
        `Figure.matrices` of the pose.
    outfit : Outfit
    label : int
        See `Part`.
    """
    suit = posed_sheet(figure, matrices, "jacket")
    skin = posed_sheet(figure, matrices, "skin")
    covered = _trousers(skin, outfit)
    parts = [_part("gi" if outfit.gi else "tight" if outfit.leg < 1 else "loose", label,
                   outfit.bottom, outfit.trim, _worn_trousers(suit, outfit))]  # fmt: skip
    if outfit.top is not None:
        covered = np.maximum(covered, _top(skin, outfit))
        kind = "gi" if outfit.gi else "tight" if outfit.loose < 0.01 else "loose"
        parts.append(_part(kind, label, outfit.top, outfit.trim, _worn_top(suit, outfit)))
    if outfit.gi:
        belt = suit.widened(outfit.loose + 0.020)
        band = 0.021 - np.abs(suit.rest[:, 2] - figure.belt_height)
        belt = belt.cut(np.where(suit.region[:, 2] > 0.4, -1, band))
        parts.append(_part("belt", label, outfit.trim, outfit.trim, belt))
    under = skin.widened(-0.012 * np.clip(covered / 0.15, 0, 1))
    eyes = figure.faces["skin"].min(1) >= figure.skin_size  # their vertices follow the skin's
    parts.append(_part("skin", label, outfit.skin, outfit.hair, _only(under, ~eyes)))
    parts.append(_part("eye", label, (0.8, 0.78, 0.75), (0.05, 0.03, 0.02), _only(skin, eyes)))
    if outfit.hair_length > 0:
        scalp = posed_sheet(figure, matrices, "scalp")
        parts.append(_part("scalp", label, outfit.hair, outfit.hair, scalp.widened(0.002)))
        parts.append(_strands(rng, scalp, outfit, label))
    return parts


def _top(sheet: Sheet, o: Outfit) -> np.ndarray:
    """Where a jacket or shirt is, positive inside; region coordinates, about."""
    arm, up, share, _ = sheet.region.T
    on_arm = share > 0.5
    keep = np.minimum(np.where(on_arm, o.sleeve - arm, _FAR), np.where(on_arm, _FAR, up - o.hem))
    keep = np.minimum(keep, np.where(on_arm, _FAR, 4.02 - up))
    if o.gi:  # the jacket falls open in a narrow V above the belt
        x, y, _ = sheet.rest.T
        front = (y < np.median(y)) & ~on_arm & (up > 3.0)
        opening = np.where(front, 8 * (np.abs(x) - 0.075 * np.clip(up - 3.05, 0, 1.2)), _FAR)
        keep = np.minimum(keep, opening)
    return keep


def _trousers(sheet: Sheet, o: Outfit) -> np.ndarray:
    arm, up, share, _ = sheet.region.T
    keep = np.minimum(2.95 - up, up - o.leg)
    return np.where((share > 0.4) | (arm > 0.2), -1, keep)


def _worn_top(suit: Sheet, o: Outfit) -> Sheet:
    arm, up, share, _ = suit.region.T
    off = o.loose + 0.004 + np.zeros(len(up))
    if o.loose > 0.01:  # wider towards the ends of sleeves and the hem
        off = off + 0.016 * np.clip(arm, 0, 2) + 0.018 * np.clip(3 - up, 0, 1.3) * (share < 0.4)
    return suit.widened(off).cut(_top(suit, o))


def _worn_trousers(suit: Sheet, o: Outfit) -> Sheet:
    up = suit.region[:, 1]
    off = np.full(len(up), 0.003)
    if o.gi:
        off = 0.8 * o.loose + 0.012 * np.clip(2 - up, 0, 2)
    elif o.leg > 1:  # shorts
        off = 0.006 + 0.022 * np.clip(2.6 - up, 0, 1.3)
    return suit.widened(off).cut(_trousers(suit, o))


def _strands(rng: np.random.Generator, scalp: Sheet, o: Outfit, label: int) -> Part:
    """Hair as strands that start outwards and fall."""
    count, knots = 2600, 5
    a, b, c = (scalp.place[scalp.faces[:, i]] for i in range(3))
    area = np.linalg.norm(np.cross(b - a, c - a), axis=1)
    f = rng.choice(len(area), count, p=area / area.sum())
    mix = rng.dirichlet(np.ones(3), count).astype(np.float32)
    corners = scalp.faces[f]
    root = np.einsum("nk,nka->na", mix, scalp.place[corners])
    out = np.einsum("nk,nka->na", mix, scalp.normal[corners])
    out /= np.linalg.norm(out, axis=1, keepdims=True)
    length = o.hair_length * rng.uniform(0.7, 1.0, (count, 1))
    lean = out + rng.normal(0, 0.35, (count, 3))
    along = np.linspace(0, 1, knots)[None, :, None]
    straight = lean[:, None] * np.minimum(along * length[:, None], 0.03)
    fall = np.array([0, 0, -1.0]) + 0.25 * out + rng.normal(0, 0.12, (count, 3))
    hanging = fall[:, None] * np.maximum(along * length[:, None] - 0.03, 0)
    curves = (root[:, None] + straight + hanging).astype(np.float32)
    nothing = np.zeros((0, 3), np.float32)
    return Part("strands", label, _rgb(o.hair), _rgb(o.hair), curves, nothing, nothing[:, 0],
                nothing.astype(np.int32))  # fmt: skip


def _only(sheet: Sheet, faces: np.ndarray) -> Sheet:
    used, kept = np.unique(sheet.faces[faces], return_inverse=True)
    return Sheet(sheet.place[used], sheet.normal[used], sheet.rest[used], sheet.region[used],
                 kept.reshape(-1, 3).astype(np.int32))  # fmt: skip


def _part(kind: str, label: int, colour: Any, second: Any, sheet: Sheet) -> Part:
    return Part(kind, label, _rgb(colour), _rgb(second), sheet.place, sheet.rest,
                sheet.region[:, 3], sheet.faces)  # fmt: skip


def _rgb(colour: Any) -> tuple[float, float, float]:
    r, g, b = np.clip(np.asarray(colour, float), 0, 1).tolist()
    return r, g, b
