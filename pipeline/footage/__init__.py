"""Files to timed pictures: what a recording is, its frames by timestamp, a copy browsers can play.

Start with `Footage`::

    footage = Footage.open("bout.mp4")
    for frame in footage.frames(rate_hz=5):
        frame.time_s, frame.image
"""

from pipeline.footage.errors import FootageError
from pipeline.footage.footage import Footage, Frame
from pipeline.footage.gaps import Gap
from pipeline.footage.info import FootageInfo
from pipeline.footage.orientation import Orientation
from pipeline.footage.picture import PICTURE_SUFFIXES, read_picture
from pipeline.footage.proxy import make_proxy, needs_proxy

__all__ = [
    "PICTURE_SUFFIXES",
    "Footage",
    "FootageError",
    "FootageInfo",
    "Frame",
    "Gap",
    "Orientation",
    "make_proxy",
    "needs_proxy",
    "read_picture",
]
