"""The people of each sample → athlete A and athlete B through time, and who is on top."""

from pipeline.athletes.athletes import Athletes
from pipeline.athletes.people import People
from pipeline.athletes.tracks import Tracks, concatenate

__all__ = ["Athletes", "People", "Tracks", "concatenate"]
