"""The rendered bouts that come with the project."""

from __future__ import annotations

from pathlib import Path

import pipeline
from pipeline.errors import MatlineError


def sample_clip() -> Path:
    """Return the first sample clip.

    Raises
    ------
    MatlineError
        If Matline was installed without them.
    """
    folder = Path(pipeline.__file__).resolve().parents[1] / "sample_clips"
    clips = sorted(folder.glob("*.mp4"))
    if not clips:
        raise MatlineError(
            f"There is no sample clip in {folder}; run the demo from a copy of the project, "
            "or read a video of your own with `matline read VIDEO`."
        )
    return clips[0]
