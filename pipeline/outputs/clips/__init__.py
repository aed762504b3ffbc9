"""Teach: moments and positions cut to the frame, with skeletons, trace and caption.

Start with `choose_clips` and `write_reel`::

    clips = choose_clips(select(library), Wanted(kinds=("sweep",)))
    write_reel(library, clips, Path("sweeps.mp4"), Look(skeletons=True))
"""

from pipeline.outputs.clips.choose import Clip, Wanted, choose_clips
from pipeline.outputs.clips.pace import Pace, paced
from pipeline.outputs.clips.painter import Look
from pipeline.outputs.clips.reel import write_files, write_reel

__all__ = [
    "Clip",
    "Look",
    "Pace",
    "Wanted",
    "choose_clips",
    "paced",
    "write_files",
    "write_reel",
]
