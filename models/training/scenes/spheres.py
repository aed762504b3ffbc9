"""Sphere proxies of a body: what the solver holds apart and brings together.

Each sphere rides on one bone. Limbs are rows of spheres along the bone with the radius of the
flesh around it; the trunk is seven levels of three (left, middle, right); hands have a palm,
finger and thumb spheres, so that a hand on a back stays on the back.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

_TRUNK_BONES = ("root", "spine05", "spine04", "spine03", "spine02", "spine02", "spine01")
_TRUNK_FLESH = (
    "root", "pelvis.L", "pelvis.R", "spine05", "spine04", "spine03", "spine02", "spine01",
    "clavicle.L", "clavicle.R", "shoulder01.L", "shoulder01.R", "upperleg01.L", "upperleg01.R",
)  # fmt: skip
_LIMBS = (
    # part, first bone, second bone, end of the limb, spheres along it
    ("thigh", "upperleg01", "upperleg02", "lowerleg01", 6),
    ("shank", "lowerleg01", "lowerleg02", "foot", 7),
    ("upper_arm", "upperarm01", "upperarm02", "lowerarm01", 5),
    ("forearm", "lowerarm01", "lowerarm02", "wrist", 5),
)
# Of the flesh around a bone: most of it is inside the proxy, the bulges that give way are not.
_LIMB_QUANTILE = 0.65
_TRUNK_GIVES = 0.95
_NEIGHBOURS = frozenset(
    frozenset(pair)
    for pair in (
        ("trunk", "thigh"), ("trunk", "upper_arm"), ("thigh", "shank"), ("shank", "foot"),
        ("upper_arm", "forearm"), ("forearm", "hand"), ("trunk", "neck"), ("head", "neck"),
        ("trunk", "head"), ("neck", "upper_arm"),
    )
)  # fmt: skip


@dataclass(frozen=True)
class Spheres:
    """The proxies of one body, in the same order for every body.

    Attributes
    ----------
    names : tuple of str
        ``thigh.L.3`` counts from the hip; ``trunk.0.M`` is the seat, ``trunk.6.M`` the collar.
    parts : tuple of str
        The limb each belongs to: ``thigh.L``, ``trunk``, ``hand.R`` …
    bones : ndarray, int, (S,)
        Bone each rides on.
    centres : ndarray, float32, (S, 3)
        In the rest shape, metres.
    radii : ndarray, float32, (S,)
    """

    names: tuple[str, ...]
    parts: tuple[str, ...]
    bones: np.ndarray
    centres: np.ndarray
    radii: np.ndarray

    def index(self, name: str) -> int:
        """Return the row of a sphere by name."""
        return self.names.index(name)


def are_neighbours(a: str, b: str) -> bool:
    """Whether two parts of one body overlap by nature."""
    (kind_a, _, side_a), (kind_b, _, side_b) = a.partition("."), b.partition(".")
    same_side = not side_a or not side_b or side_a == side_b
    return same_side and frozenset((kind_a, kind_b)) in _NEIGHBOURS


def may_touch_itself(parts: tuple[str, ...]) -> np.ndarray:
    """Pairs of spheres of one body that have to be held apart.

    Returns
    -------
    ndarray, int, (N, 2)
        Neighbouring parts, which overlap by nature, are left out.
    """
    pairs = []
    for i, a in enumerate(parts):
        for j in range(i):
            b = parts[j]
            if a != b and not are_neighbours(a, b):
                pairs.append((i, j))
    return np.array(pairs)


class _Builder:
    """Collects spheres while it looks at the flesh around the bones."""

    def __init__(self, bones: tuple[str, ...], heads: np.ndarray, flesh: np.ndarray, W: np.ndarray):
        self.row = {name: i for i, name in enumerate(bones)}
        self.heads, self.flesh, self.weights = heads, flesh, W
        self.found: list[tuple[str, str, int, np.ndarray, float]] = []

    def at(self, bone: str) -> np.ndarray:
        return self.heads[self.row[bone]]

    def owned(self, bones: tuple[str, ...]) -> np.ndarray:
        """Vertices that mostly follow these bones."""
        return self.flesh[self.weights[:, [self.row[b] for b in bones]].sum(1) > 0.5]

    def add(self, name: str, part: str, bone: str, centre: np.ndarray, radius: float) -> None:
        self.found.append((name, part, self.row[bone], np.asarray(centre), float(radius)))

    def limb(self, part: str, bones: tuple[str, str], end: str, count: int) -> None:
        start, along = self.at(bones[0]), self.at(end) - self.at(bones[0])
        length = np.linalg.norm(along)
        along = along / length
        flesh = self.owned(bones) - start
        height = flesh @ along
        distance = np.linalg.norm(flesh - height[:, None] * along, axis=1)
        for i in range(count):
            middle = (i + 0.5) / count * length
            near = np.abs(height - middle) < 0.8 * length / count
            around = distance[near] if near.sum() > 5 else distance
            bone = bones[0] if i < count / 2 else bones[1]
            radius = float(np.quantile(around, _LIMB_QUANTILE))
            self.add(f"{part}.{i}", part, bone, start + along * middle, radius)

    def foot(self, side: str) -> None:
        ankle, toe = self.at(f"foot.{side}"), self.at(f"toe3-2.{side}")
        bone = part = f"foot.{side}"
        self.add(f"heel.{side}", part, bone, ankle + np.array([0, 0.035, -0.05]), 0.033)
        self.add(f"sole.{side}", part, bone, (ankle + toe) / 2 + [0, 0, -0.02], 0.033)
        self.add(f"toe.{side}", part, bone, toe, 0.022)
        for name, end in (("big_toe", "toe1-2"), ("small_toe", "toe5-2")):
            at = self.at(f"{end}.{side}")
            self.add(f"{name}.{side}", part, bone, at + 0.2 * (at - ankle), 0.014)

    def hand(self, side: str) -> None:
        part = f"hand.{side}"
        wrist, knuckle = self.at(f"wrist.{side}"), self.at(f"finger3-1.{side}")
        self.add(f"palm.{side}", part, f"wrist.{side}", 0.3 * wrist + 0.7 * knuckle, 0.033)
        for finger in (2, 3, 5):
            middle = self.at(f"finger{finger}-2.{side}")
            tip = self.at(f"finger{finger}-3.{side}")
            self.add(f"finger{finger}.{side}", part, f"finger{finger}-2.{side}", middle, 0.013)
            beyond = tip + 0.5 * (tip - middle)
            self.add(f"tip{finger}.{side}", part, f"finger{finger}-3.{side}", beyond, 0.011)
        edge = self.at(f"finger5-1.{side}")
        self.add(f"palm_edge.{side}", part, f"wrist.{side}", 0.25 * wrist + 0.75 * edge, 0.018)
        thumb = self.at(f"finger1-3.{side}")
        self.add(f"thumb.{side}", part, f"wrist.{side}", thumb, 0.014)

    def trunk(self) -> None:
        flesh = self.owned(_TRUNK_FLESH)
        top = self.at("neck01")[2] - 0.07
        bottom = self.at("upperleg01.L")[2] - 0.02
        for i, bone in enumerate(_TRUNK_BONES):
            z = bottom + (top - bottom) * i / (len(_TRUNK_BONES) - 1)
            level = flesh[np.abs(flesh[:, 2] - z) < 0.025]
            front, back = np.quantile(level[:, 1], (0.02, 0.99))
            radius = (back - front) / 2 * _TRUNK_GIVES
            aside = max(float(np.quantile(level[:, 0], 0.97)) - radius, 0.0)
            for side, x in (("L", aside), ("M", 0.0), ("R", -aside)):
                centre = np.array([x, back - radius, z])  # the back is hard, the belly gives
                self.add(f"trunk.{i}.{side}", "trunk", bone, centre, radius)

    def head(self) -> None:
        flesh = self.owned(("head",))
        middle = (flesh.max(0) + flesh.min(0)) / 2
        radius = np.ptp(flesh[:, 0]) / 2 * 1.08
        self.add("head", "head", "head", middle + np.array([0, 0.015, 0.025]), radius)
        skull = np.array([0, flesh[:, 1].max() - 0.07, middle[2] + 0.03])
        self.add("skull", "head", "head", skull, 0.07)
        self.add("chin", "head", "head", middle + np.array([0, -0.03, -0.055]), 0.055)
        neck = (self.at("neck01") + self.at("head")) / 2 + [0, 0.01, 0]
        self.add("neck", "neck", "neck02", neck, 0.05)


def build_spheres(
    bones: tuple[str, ...], heads: np.ndarray, flesh: np.ndarray, weights: np.ndarray
) -> Spheres:
    """Fit the proxies to one rest shape.

    Parameters
    ----------
    bones : tuple of str
    heads : ndarray, (J, 3)
        Rest positions of the bones' heads, metres.
    flesh : ndarray, (V, 3)
        Rest vertices of the skin (no helper geometry), metres.
    weights : ndarray, (V, J)
        Skinning weights of those vertices.

    Returns
    -------
    Spheres
    """
    build = _Builder(bones, heads, flesh, weights)
    for side in "LR":
        for part, first, second, end, count in _LIMBS:
            pair = (f"{first}.{side}", f"{second}.{side}")
            build.limb(f"{part}.{side}", pair, f"{end}.{side}", count)
        build.foot(side)
        build.hand(side)
    build.trunk()
    build.head()
    names, parts, rows, centres, radii = zip(*build.found, strict=True)
    return Spheres(
        names,
        parts,
        np.array(rows),
        np.stack(centres).astype(np.float32),
        np.array(radii, np.float32),
    )
