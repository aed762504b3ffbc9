"""MediaPipe's pose landmarker as a body reader: people standing apart, and a second opinion.

General-purpose pose models lose people who are entangled; the pair reader is for those.
"""

from __future__ import annotations

import contextlib
import os
import sys
import weakref
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from pipeline.bodies.bundle import bundle_is_whole, bundle_path
from pipeline.bodies.look import Body, Look, Region
from pipeline.bodies.mat import Mat
from pipeline.bodies.pairing import pair_box
from pipeline.errors import MatlineError
from pipeline.settings import BodiesSettings

LANDMARKS = (0, 2, 5, 7, 8, 11, 12, 13, 14, 15, 16, 23, 24, 25, 26, 27, 28)
"""Which of MediaPipe's 33 landmarks are COCO's 17 keypoints, in COCO order (MediaPipe's pose
landmark model card: 0 nose, 2 and 5 eyes, 7 and 8 ears, 11–16 arms, 23–28 legs)."""


class MediaPipeReader:
    """Reads all people in a frame or a part of it.

    Parameters
    ----------
    num_poses : int
        Most people to find.
    bundle : Path, optional
        The model bundle; the one in the user's cache by default.
    settings : BodiesSettings, optional

    Raises
    ------
    MatlineError
        If the bundle is missing or damaged. Nothing is fetched here; see `ensure_bundle`.
    """

    name = "mediapipe"

    def __init__(
        self,
        num_poses: int = 4,
        bundle: Path | None = None,
        settings: BodiesSettings | None = None,
    ) -> None:
        path = bundle or bundle_path()
        self._settings = settings or BodiesSettings()
        if not bundle_is_whole(path):
            raise MatlineError(
                f"{path}: the models of the MediaPipe reader are missing or damaged; "
                "run “matline check --fetch” once, with a network."
            )
        self._landmarker: Any = _create(path, num_poses, self._settings)
        # Its own destructor fails while the interpreter goes down.
        self._closed = weakref.finalize(self, _close, self._landmarker)
        self._quiet = True

    def close(self) -> None:
        """Let go of the native reader; called by itself at exit."""
        self._closed()

    def read(self, image: np.ndarray, region: Region | None = None, mat: Mat | None = None) -> Look:
        """Read one frame; see `BodyReader.read`.

        The region is read with a margin around it. All people found are returned as they are,
        duplicates included, in no lasting order; keypoints outside the frame are NaN. The look's
        region is the box of the two who are most likely the pair, None if there are no two.
        """
        place = mat.reach if region is None and mat is not None else region
        crop, offset = _square(image, place, self._settings.region_margin)
        result = self._detect(crop)
        side, frame_size = crop.shape[0], image.shape[1::-1]
        bodies = tuple(
            _body(landmarks, side, offset, frame_size) for landmarks in result.pose_landmarks
        )
        if mat is not None:
            bodies = mat.people(bodies, self._settings.mat_margin)
        return Look(bodies, pair_box(bodies, self._settings, region))

    def _detect(self, crop: np.ndarray) -> Any:
        import mediapipe as mp

        image = mp.Image(image_format=mp.ImageFormat.SRGB, data=np.ascontiguousarray(crop))
        # The library prints advice to its own developers until it has found its first person.
        with _no_stderr() if self._quiet else contextlib.nullcontext():
            result = self._landmarker.detect(image)
        self._quiet = self._quiet and not result.pose_landmarks
        return result


def _create(path: Path, num_poses: int, settings: BodiesSettings) -> Any:
    with _no_stderr():
        from mediapipe.tasks.python import BaseOptions, vision

        options = vision.PoseLandmarkerOptions(
            base_options=BaseOptions(model_asset_path=str(path)),
            num_poses=num_poses,
            min_pose_detection_confidence=settings.mediapipe_detection,
            min_pose_presence_confidence=settings.mediapipe_presence,
        )
        try:
            return vision.PoseLandmarker.create_from_options(options)
        except (RuntimeError, ValueError, OSError) as error:
            raise MatlineError(
                f"{path}: MediaPipe refuses its models ({str(error).splitlines()[0]}); delete the "
                "file and run “matline check --fetch”."
            ) from error


def _close(landmarker: Any) -> None:
    with _no_stderr():
        try:
            landmarker.close()
        except RuntimeError:  # at exit its threads are gone already; nothing is left to free
            landmarker._handle = None


@contextlib.contextmanager
def _no_stderr() -> Iterator[None]:
    """Send the native libraries' messages nowhere; they write past Python's `sys.stderr`."""
    try:
        sys.stderr.flush()
        kept = os.dup(2)
    except (OSError, AttributeError, ValueError):  # no stderr at all
        yield
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 2)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
        os.close(nowhere)


def _square(
    image: np.ndarray, region: Region | None, margin: float
) -> tuple[np.ndarray, tuple[float, float]]:
    """Return a square picture of the region and the frame position of its corner.

    Square because the landmarker's projection is only right for square input; what lies outside
    the frame is black.
    """
    height, width = image.shape[:2]
    if region is None:
        side, cx, cy = max(height, width), width / 2, height / 2
    else:
        side = max(16, round(max(region.size) * margin))
        cx, cy = (region.x0 + region.x1) / 2, (region.y0 + region.y1) / 2
    x, y = round(cx - side / 2), round(cy - side / 2)
    x0, y0, x1, y1 = max(0, x), max(0, y), min(width, x + side), min(height, y + side)
    if x1 <= x0 or y1 <= y0:
        return np.zeros((side, side, 3), np.uint8), (float(x), float(y))
    border = (y0 - y, y + side - y1, x0 - x, x + side - x1)
    part = image[y0:y1, x0:x1]
    if any(border):
        part = cv2.copyMakeBorder(part, *border, cv2.BORDER_CONSTANT, value=(0, 0, 0))
    return part, (float(x), float(y))


def _body(
    landmarks: Any, side: int, offset: tuple[float, float], frame_size: tuple[int, int]
) -> Body:
    chosen = [landmarks[i] for i in LANDMARKS]
    keypoints = np.array([(p.x * side, p.y * side, p.visibility) for p in chosen], np.float32)
    keypoints[:, :2] += offset
    keypoints[:, 2] = keypoints[:, 2].clip(0, 1)
    score = float(np.mean([p.presence for p in chosen]))
    xy = keypoints[:, :2]
    outside = ~np.isfinite(keypoints).all(1) | (xy < 0).any(1) | (xy >= frame_size).any(1)
    keypoints[outside] = np.nan
    return Body(keypoints, min(1.0, max(0.0, score)))
