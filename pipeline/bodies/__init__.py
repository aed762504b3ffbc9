"""A frame → the people in it, and where the pair is.

Start with `make_reader` and `RegionTracker`::

    reader, tracker = make_reader(), RegionTracker()
    for frame in footage.frames():
        look = tracker.read(reader, frame.image)
"""

from pipeline.bodies.bundle import ensure_bundle
from pipeline.bodies.draw import draw_bodies
from pipeline.bodies.look import (
    COCO_KEYPOINTS,
    COCO_LIMBS,
    Body,
    BodyReader,
    Look,
    Outline,
    Region,
)
from pipeline.bodies.mat import Mat, mat_of
from pipeline.bodies.readers import READERS, make_reader
from pipeline.bodies.region import RegionTracker

__all__ = [
    "COCO_KEYPOINTS",
    "COCO_LIMBS",
    "READERS",
    "Body",
    "BodyReader",
    "Look",
    "Mat",
    "Outline",
    "Region",
    "RegionTracker",
    "draw_bodies",
    "ensure_bundle",
    "make_reader",
    "mat_of",
]
