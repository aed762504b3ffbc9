"""A frame → the people in it, and where the pair is."""

from pipeline.bodies.look import COCO_KEYPOINTS, COCO_LIMBS, Body, BodyReader, Look, Region

__all__ = ["COCO_KEYPOINTS", "COCO_LIMBS", "Body", "BodyReader", "Look", "Region"]
