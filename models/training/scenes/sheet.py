"""Contact sheets: every template from three sides, and the page that shows them.

Drawn without a graphics card by painting triangles back to front; good enough to judge a pose.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

import cv2
import numpy as np

from pipeline.timeline.vocabulary import BY_KEY

from .body import Person
from .contacts import HEADINGS, Template
from .pairs_file import Pairs
from .pose import PosedPair
from .solve_many import Tally, tally
from .solver import SolvedPair, mirror

# Okabe–Ito vermillion and blue (published, colour-blind safe), BGR.
_COLOURS = np.array([(0, 94, 213), (178, 114, 0)], float)
_PAPER = (236, 236, 236)
_LINE = (190, 190, 190)
# Azimuth and elevation of the three sides, degrees.
SIDES = ((-60.0, 18.0), (15.0, 10.0), (-90.0, 82.0))
_LIGHT = np.array([0.3, -0.4, 0.87])


def draw_pair(
    pair: PosedPair,
    people: Sequence[Person],
    azimuth: float,
    elevation: float,
    size: int = 260,
    metres: float = 2.2,
) -> np.ndarray:
    """Draw a pair without perspective.

    Parameters
    ----------
    pair : PosedPair
    people : sequence of Person
    azimuth, elevation : float
        Where the viewer is, degrees; azimuth from +x towards +y.
    size : int
        Pixels a side.
    metres : float
        What the picture spans at least; people further apart get more.

    Returns
    -------
    ndarray, uint8, (size, size, 3)
        BGR; A is vermillion, B blue.
    """
    a, e = np.radians((azimuth, elevation))
    away = -np.array([np.cos(a) * np.cos(e), np.sin(a) * np.cos(e), np.sin(e)])
    right = np.array([-np.sin(a), np.cos(a), 0.0])
    up = np.cross(right, away)
    shared = people[0].topology
    skins = [people[b.person].vertices(b)[: shared.skin_size] for b in pair.bodies]
    low, high = np.min([s.min(0) for s in skins], 0), np.max([s.max(0) for s in skins], 0)
    middle, metres = (low + high) / 2, max(metres, 1.05 * float((high - low).max()))
    corners = np.concatenate([skin[shared.skin_faces] - middle for skin in skins])
    colour = np.repeat(_COLOURS, len(shared.skin_faces), 0)
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-12)
    seen = np.flatnonzero(normal @ away < 0)
    seen = seen[np.argsort(-(corners[seen].mean(1) @ away))]
    shade = 0.42 + 0.30 * np.clip(normal[seen] @ _LIGHT, 0, 1) - 0.38 * (normal[seen] @ away)
    paint = np.clip(colour[seen] * shade[:, None], 0, 255)
    scale = size / metres
    x, y = size / 2 + corners[seen] @ right * scale, size / 2 - corners[seen] @ up * scale
    points = np.round(np.stack([x, y], -1) * 16).astype(np.int32)
    image = np.full((size, size, 3), _PAPER, np.uint8)
    if elevation < 45:
        mat = int(size / 2 + middle[2] * up[2] * scale)
        cv2.line(image, (0, mat), (size, mat), _LINE, 1)
    for triangle, tone in zip(points, paint.tolist(), strict=True):
        cv2.fillConvexPoly(image, triangle, tone, cv2.LINE_4, 4)
    return image


def _row(pairs: Sequence[PosedPair], people: Sequence[Person], size: int) -> np.ndarray:
    """Pairs side by side, each from three sides; mirrored ones turned back to be comparable."""
    pictures = [
        draw_pair(mirror(p) if p.mirrored else p, people, *side, size=size)
        for p in pairs
        for side in SIDES
    ]
    return np.concatenate(pictures, 1)


def picture_name(position: str) -> str:
    """File name of a position's sheet."""
    return f"{position}.webp"


def write_sheets(
    folder: Path,
    pairs: Pairs,
    people: Sequence[Person],
    names: Sequence[str],
    each: int = 2,
    size: int = 180,
) -> Iterator[Path]:
    """Write one sheet a position, a row a template.

    Parameters
    ----------
    folder : Path
    pairs : Pairs
    people : sequence of Person
        The cast of the pairs.
    names : sequence of str
        Templates to draw, in this order.
    each : int
        Pairs a template.
    size : int
        Pixels a picture.

    Yields
    ------
    Path
        Of each file written.
    """
    folder.mkdir(parents=True, exist_ok=True)
    rows: dict[str, list[np.ndarray]] = {}
    for name in names:
        found = np.flatnonzero(pairs.templates[pairs.template] == name)[:each]
        if not len(found):
            continue
        shown = [pairs[int(i)] for i in found]
        shown += [shown[-1]] * (each - len(shown))
        row = _row(shown, people, size)
        cv2.putText(
            row, name, (4, 13), cv2.FONT_HERSHEY_SIMPLEX, 0.42, (40, 40, 40), 1, cv2.LINE_AA
        )
        rows.setdefault(shown[0].position, []).append(row)
    for position, drawn in rows.items():
        path = folder / picture_name(position)
        cv2.imwrite(str(path), np.concatenate(drawn, 0), [cv2.IMWRITE_WEBP_QUALITY, 60])
        yield path


def mosaic(
    pairs: Pairs, people: Sequence[Person], count: int, columns: int = 10, size: int = 150
) -> np.ndarray:
    """Draw pairs at random from a file, side by side, each under the name of its family.

    Parameters
    ----------
    pairs : Pairs
    people : sequence of Person
        The cast of the pairs.
    count : int
        At most so many; the last row is filled up with paper.
    columns, size : int
        Pictures a row, and pixels a side of each.

    Returns
    -------
    ndarray, uint8, (H, W, 3)
        BGR.
    """
    chosen = np.random.default_rng(0).permutation(len(pairs))[:count]
    pictures = []
    for row in chosen:
        pair = pairs[int(row)]
        picture = draw_pair(pair, people, -60, 22, size)
        family = pair.template.split(" / ")[0].replace("–", "-")
        cv2.putText(
            picture, family, (3, 10), cv2.FONT_HERSHEY_SIMPLEX, 0.3, (40, 40, 40), 1, cv2.LINE_AA
        )
        pictures.append(picture)
    while len(pictures) % columns:
        pictures.append(np.full((size, size, 3), _PAPER, np.uint8))
    rows = [pictures[i : i + columns] for i in range(0, len(pictures), columns)]
    return np.concatenate([np.concatenate(row, 1) for row in rows], 0)


_INTRODUCTION = """# Scenes: positions written as contacts

The pair reader learns from pictures that the project makes itself. Each picture starts as one of
the texts below: where two bodies touch, what rests on the mat, where things point. A solver finds
joint angles that make the text true for two people of any size; a pair is kept only if the skins
pass through each other by no more than 3 cm, what should touch is within 3 cm on average, and the
lowest point is within 1.5 cm of the mat. Half of the pairs, drawn at random, are mirrored.
Many more are [put together from parts](composition.md), and [physics](physics.md) moves them.
What is marked "for pictures only" is a moment, such as a throw: nobody stays in it, and the bouts
that positions are learnt from leave it out.

A (vermillion) is the athlete on top where there is one; B is blue. North is +y: a body on its back
with its head north has its left in the east. Lengths are centimetres, angles degrees. The
statements are explained in `models/training/scenes/contacts.py`; to change a position, edit its
text in `models/training/scenes/templates/` and look:

```
python -m models.training.scenes positions cast --out cast.npz
python -m models.training.scenes positions solve --cast cast.npz --out pairs.npz --only mount
python -m models.training.scenes positions sheet pairs.npz --cast cast.npz --out sheets --only mount
```
"""


_FIGURES_NOTE = (
    "Means over the plausible pairs: the gap between what should touch, and the deepest point of "
    "one skin inside the other (0 where it is less than 8 mm). The time is processor seconds on "
    "one core with each template solved by itself, eight pairs at once; large mixed batches take "
    "less."
)


def page(
    known: Mapping[str, Template],
    solved: Sequence[SolvedPair],
    pictures: str = "pictures",
    seconds: Mapping[str, float] | None = None,
) -> str:
    """Return the documentation page of all templates, in Markdown.

    Parameters
    ----------
    known : mapping of str to Template
    solved : sequence of SolvedPair
        For the table of figures, the rejected ones too; none gives no table.
    pictures : str
        Folder of the sheets, relative to the page.
    seconds : mapping of str to float, optional
        Processor time a pair, by template.
    """
    by_name: dict[str, list[SolvedPair]] = {}
    for s in solved:
        by_name.setdefault(s.pair.template, []).append(s)
    parts = [_INTRODUCTION]
    by_position: dict[str, list[Template]] = {}
    for t in known.values():
        by_position.setdefault(t.position, []).append(t)
    for key in (k for k in BY_KEY if k in by_position):
        parts.append(f"\n## {BY_KEY[key].name}\n\n{BY_KEY[key].meaning}\n")
        picture = f"{pictures}/{picture_name(key)}"
        parts.append(f"\n![{BY_KEY[key].name} from three sides]({picture})\n")
        for t in by_position[key]:
            statements = [line for line in t.text.splitlines()[1:] if not _is_header(line)]
            body = "\n".join(statements).strip()
            about = f"{t.about} For pictures only." if t.still else t.about
            parts.append(f"\n### {t.name}\n\n{about}\n\n```\n{body}\n```\n")
    if by_name:
        tallies = {n: tally(by_name[n]) for n in known if n in by_name}
        parts.append(_figures(tallies, seconds or {}))
    return "".join(parts)


def _figures(tallies: Mapping[str, Tally], seconds: Mapping[str, float]) -> str:
    rows = [
        f"| {name} | {t.solved} | {100 * t.accepted / t.solved:.0f} % "
        f"| {100 * t.contact:.1f} cm | {100 * t.penetration:.1f} cm "
        f"| {f'{seconds[name]:.2f} s' if name in seconds else ''} |"
        for name, t in tallies.items()
    ]
    head = (
        "| template | solved | plausible | contact error | deepest point | time a pair |\n"
        "|---|---|---|---|---|---|"
    )
    return "\n".join(["", "## Figures", "", _FIGURES_NOTE, "", head, *rows, ""])


def _is_header(line: str) -> bool:
    return line.startswith(tuple(f"{heading}:" for heading in HEADINGS))
