"""Skeletons as COCO keypoint JSON (cocodataset.org, "Data format", keypoint detection), and back.

What we write is the annotation form with two fields of our own: `score` of a person, as the results
form has it, and `confidences`, 17 a person. Both forms are read, of any pose model.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from pipeline.bodies import COCO_KEYPOINTS, COCO_LIMBS, Body
from pipeline.errors import MatlineError
from pipeline.library import written_whole

_NUMBERS = 3 * len(COCO_KEYPOINTS)
_HIDDEN, _VISIBLE = 1, 2


@dataclass(frozen=True)
class Picture:
    """The people of one picture.

    Attributes
    ----------
    name : str
        File name; of a video with the picture's number.
    width, height : int
        Pixels; 0 if not known.
    bodies : tuple of Body
    time_s : float or None
        Seconds from the first picture; None for a picture that stands alone.
    """

    name: str
    width: int
    height: int
    bodies: tuple[Body, ...]
    time_s: float | None = None


def pictures_to_coco(pictures: Iterable[Picture]) -> dict[str, Any]:
    """Return the annotation form."""
    images: list[dict[str, Any]] = []
    annotations: list[dict[str, Any]] = []
    for number, picture in enumerate(pictures, start=1):
        image = {
            "id": number,
            "file_name": picture.name,
            "width": picture.width,
            "height": picture.height,
        }
        images.append(image if picture.time_s is None else image | {"time_s": picture.time_s})
        for body in picture.bodies:
            annotations.append(_annotation(body, len(annotations) + 1, number))
    return {"images": images, "annotations": annotations, "categories": [_person()]}


def write_coco(pictures: Iterable[Picture], path: Path) -> None:
    """Write `pictures_to_coco`, whole or not at all."""
    data = pictures_to_coco(pictures)
    with written_whole(path) as part, part.open("w", encoding="utf-8") as file:
        json.dump(data, file, ensure_ascii=False, allow_nan=False)


def read_coco(path: Path) -> list[Picture]:
    """Read COCO keypoint JSON: annotations with their images, or a list of results.

    Returns
    -------
    list of Picture
        In the order of ``images``, or of rising ``image_id`` where there are none.

    Raises
    ------
    MatlineError
        If it isn't COCO keypoint JSON; says which entry is wrong.
    """
    try:
        data: Any = json.loads(path.read_bytes())
    except OSError as error:
        raise MatlineError(f"Can't read {path}: {error.strerror}.") from error
    except (ValueError, RecursionError) as error:
        raise MatlineError(f"{path} isn't JSON: {error}.") from error
    try:
        return _pictures(data)
    except MatlineError as error:
        raise MatlineError(f"{path}: {error}") from error


def _pictures(data: Any) -> list[Picture]:
    annotations = data.get("annotations") if isinstance(data, Mapping) else data
    images = data.get("images", []) if isinstance(data, Mapping) else []
    if not isinstance(annotations, list) or not isinstance(images, list):
        raise MatlineError("it holds neither annotations nor a list of results.")
    bodies: dict[Any, list[Body]] = defaultdict(list)
    for number, annotation in enumerate(annotations, start=1):
        image_id, body = _body(annotation, f"annotation {number}")
        bodies[image_id].append(body)
    if not images:
        images = [{"id": image_id} for image_id in _sorted(bodies)]
    return [_picture(image, bodies, number) for number, image in enumerate(images, start=1)]


def _sorted(ids: Iterable[Any]) -> list[Any]:
    try:
        return sorted(ids)
    except TypeError:
        raise MatlineError("its image ids are partly numbers and partly text.") from None


def _picture(image: Any, bodies: Mapping[Any, list[Body]], number: int) -> Picture:
    if not isinstance(image, Mapping) or not isinstance(image.get("id"), int | str):
        raise MatlineError(f"image {number} has no id.")
    time_s = image.get("time_s")
    if time_s is not None and not isinstance(time_s, int | float):
        raise MatlineError(f"image {number}: its time_s is no number.")
    return Picture(
        str(image.get("file_name", image["id"])),
        int(image.get("width") or 0),
        int(image.get("height") or 0),
        tuple(bodies.get(image["id"], ())),
        time_s,
    )


def _body(annotation: Any, where: str) -> tuple[Any, Body]:
    if not isinstance(annotation, Mapping) or "image_id" not in annotation:
        raise MatlineError(f"{where} has no image_id.")
    try:
        flat = np.asarray(annotation.get("keypoints", ()), dtype=np.float32)
    except (TypeError, ValueError):
        flat = np.zeros(0, np.float32)
    if flat.shape != (_NUMBERS,):
        raise MatlineError(f"{where}: keypoints must be {_NUMBERS} numbers (17 × x, y, v).")
    keypoints = flat.reshape(-1, 3).copy()
    confidences = annotation.get("confidences")
    if isinstance(confidences, list) and len(confidences) == len(keypoints):
        keypoints[:, 2] = confidences
    elif keypoints[:, 2].max() > 1:  # the flags 0, 1, 2 of the annotation form
        keypoints[:, 2] /= _VISIBLE
    keypoints[keypoints[:, 2] <= 0] = (np.nan, np.nan, 0)
    score = annotation.get("score", 1.0)
    return annotation["image_id"], Body(keypoints, float(score))


def _annotation(body: Body, number: int, image: int) -> dict[str, Any]:
    points = body.keypoints
    seen = np.isfinite(points[:, :2]).all(axis=1) & (points[:, 2] > 0)
    hidden = np.zeros(len(points), bool) if body.hidden is None else body.hidden
    flags = np.where(seen, np.where(hidden, _HIDDEN, _VISIBLE), 0)
    place = np.where(seen[:, None], points[:, :2], 0).round(2)
    flat = np.column_stack([place, flags]).ravel().tolist()
    return {
        "id": number,
        "image_id": image,
        "category_id": 1,
        "keypoints": [int(v) if i % 3 == 2 else v for i, v in enumerate(flat)],
        "num_keypoints": int(seen.sum()),
        "confidences": np.where(seen, points[:, 2], 0).astype(float).round(4).tolist(),
        "score": round(float(body.score), 4),
        "iscrowd": 0,
    } | _box(points[seen])


def _box(points: np.ndarray) -> dict[str, Any]:
    if len(points) == 0:
        return {"bbox": [0.0, 0.0, 0.0, 0.0], "area": 0.0}
    low, high = points[:, :2].min(axis=0).astype(float), points[:, :2].max(axis=0).astype(float)
    width, height = (high - low).round(2).tolist()
    return {"bbox": [*low.round(2).tolist(), width, height], "area": round(width * height, 2)}


def _person() -> dict[str, Any]:
    return {
        "id": 1,
        "name": "person",
        "supercategory": "person",
        "keypoints": list(COCO_KEYPOINTS),
        "skeleton": [[a + 1, b + 1] for a, b in COCO_LIMBS],  # the standard counts from 1
    }
