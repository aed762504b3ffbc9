"""Pictures for the documentation: our own bouts as drawn skeletons, with heights and labels."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np

from models.training.heights.data import true_heights
from models.training.positions.data import StoredBout
from models.training.scenes.camera import Camera
from pipeline.bodies import draw_bodies
from pipeline.geometry.lifting import LIFTED
from pipeline.library import written_whole
from pipeline.timeline import Moment, Segment

_CELL = (230, 190)
_PAPER, _INK, _FAINT = 250, (40, 40, 40), (190, 190, 190)
_FONT = cv2.FONT_HERSHEY_SIMPLEX


def draw_moment(bout: StoredBout, moment: Moment) -> np.ndarray:
    """Draw one rise or lift: skeletons on the way to the peak, and the height that gained.

    Returns
    -------
    ndarray, uint8, (H, W, 3)
        RGB.
    """
    at = [moment.start_s, (moment.start_s + moment.peak_s) / 2, moment.peak_s]
    cells = [_skeletons(bout, t, f"{t - moment.start_s:.1f} s") for t in at]
    who = "AB".index(moment.athlete or "A")
    point, body = ("shoulder", who) if moment.kind == "rise" else ("hip", 1 - who)
    trace = _trace(bout, moment, true_heights(bout.keypoints)[:, body, LIFTED.index(point)])
    title = f"{moment.kind} of {moment.athlete}: {point}s of {'AB'[body]}, {moment.strength:+.2f}"
    cv2.putText(trace, title, (8, 16), _FONT, 0.42, _INK, 1, cv2.LINE_AA)
    return np.hstack([*cells, trace])


def draw_segments(bout: StoredBout, proposed: Sequence[Segment], count: int = 8) -> np.ndarray:
    """Draw the middles of true segments, with what is true and what is proposed under each."""
    longest = sorted(bout.timeline.segments, key=lambda s: s.start_s - s.end_s)[:count]
    cells = []
    for segment in sorted(longest, key=lambda s: s.start_s):
        middle = (segment.start_s + segment.end_s) / 2
        told = next((s for s in proposed if s.start_s <= middle < s.end_s), None)
        cell = _skeletons(bout, middle, f"{middle:.0f} s  {_said(segment)}")
        right = told is not None and _said(told) == _said(segment)
        colour = (0, 120, 80) if right else (190, 60, 0)
        text = f"proposed: {_said(told)}" if told else "nothing proposed"
        cv2.putText(cell, text, (6, _CELL[1] - 8), _FONT, 0.42, colour, 1, cv2.LINE_AA)
        cells.append(cell)
    cells += [np.full_like(cells[0], _PAPER)] * (-len(cells) % 4)
    return np.vstack([np.hstack(cells[i : i + 4]) for i in range(0, len(cells), 4)])


def write_picture(picture: np.ndarray, path: Path) -> None:
    """Write a picture in the form that its name ends with."""
    done, coded = cv2.imencode(path.suffix, picture[..., ::-1], [cv2.IMWRITE_WEBP_QUALITY, 70])
    assert done
    with written_whole(path) as part:
        part.write_bytes(coded.tobytes())


def _said(segment: Segment) -> str:
    name = segment.position.replace("_", " ")
    return f"{name}, {segment.top} on top" if segment.top else name


def _skeletons(bout: StoredBout, time_s: float, text: str) -> np.ndarray:
    width, height = _CELL
    sample = int(np.abs(bout.times - time_s).argmin())
    world = bout.keypoints[sample].astype(np.float64)
    middle = world.mean(axis=(0, 1))
    # From the side on which both bodies hide least: across the line between the hips.
    line = (world[1, 11:13] - world[0, 11:13]).mean(axis=0)[:2]
    across = np.array([-line[1], line[0]]) / max(float(np.linalg.norm(line)), 1e-6)
    eye = middle + 4.2 * np.array([*across, 0.22])
    eye[2] = max(eye[2], 0.5)
    camera = Camera(eye, middle, 0.0, 38.0, _CELL)
    points = np.concatenate([camera.project(world)[..., :2], np.ones((2, 17, 1))], axis=-1)
    paper = np.full((height, width, 3), _PAPER, np.uint8)
    order = [0, 1] if np.linalg.norm(world[0] - eye) > np.linalg.norm(world[1] - eye) else [1, 0]
    drawn = paper
    for body in order:
        one: list[np.ndarray | None] = [None, None]
        one[body] = points[body]
        drawn = draw_bodies(drawn, one)
    cv2.putText(drawn, text, (6, 14), _FONT, 0.42, _INK, 1, cv2.LINE_AA)
    return drawn


def _trace(bout: StoredBout, moment: Moment, height: np.ndarray) -> np.ndarray:
    width, tall = 300, _CELL[1]
    paper = np.full((tall, width, 3), _PAPER, np.uint8)
    first, last = moment.start_s - 2, moment.end_s + 2
    inside = (bout.times >= first) & (bout.times <= last)
    top = max(1.5, float(height[inside].max()) + 0.2)

    def place(time_s: float, value: float) -> tuple[int, int]:
        x = 26 + (time_s - first) / (last - first) * (width - 36)
        return round(x), round(tall - 14 - value / top * (tall - 44))

    for level in np.arange(0, top, 0.5):
        cv2.line(paper, place(first, level), place(last, level), _FAINT, 1)
        x, y = place(first, level)
        cv2.putText(paper, f"{level:.1f}", (x - 25, y + 4), _FONT, 0.33, _INK, 1, cv2.LINE_AA)
    for time_s in (moment.start_s, moment.peak_s):
        cv2.line(paper, place(time_s, 0), place(time_s, top), (0, 114, 178), 1)
    points = np.array([place(*row) for row in zip(bout.times[inside], height[inside], strict=True)])
    cv2.polylines(paper, [points.astype(np.int32)], False, _INK, 2, cv2.LINE_AA)
    return paper
