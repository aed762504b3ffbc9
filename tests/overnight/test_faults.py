"""After a power cut, a full disk or `kill -9`, nothing that was read or corrected is lost."""

import resource
import subprocess
import sys

import pytest

from pipeline.library import Library
from pipeline.overnight import InThisProcess, Order, make_plan, run_night
from pipeline.settings import OvernightSettings, Settings
from tests.overnight.figures import make_clip
from tests.overnight.kills import kill_corrections, kill_readings


def test_a_reading_killed_again_and_again_ends_as_if_nothing_had_happened(tmp_path):
    kill_readings(tmp_path, 3)


def test_a_confirmed_correction_survives_every_kill(tmp_path):
    kill_corrections(tmp_path, 3)


FULL = """
import resource, sys
from pathlib import Path
from tests.overnight.test_faults import read
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[3]), resource.RLIM_INFINITY))
for line in read(Path(sys.argv[1]), Path(sys.argv[2])).lines():
    print(line)
"""


def read(root, clip):
    """Read a clip into a library."""
    settings = Settings(overnight=OvernightSettings(chunk_s=5.0))
    order = Order(Library(root), settings, "tests.overnight.figures:FigureReader")
    plan = make_plan(order, [clip], InThisProcess())
    return run_night(order, plan, InThisProcess())


@pytest.mark.skipif(not hasattr(resource, "RLIMIT_FSIZE"), reason="no limits on this system")
@pytest.mark.parametrize("limit", [2_000, 60_000])
def test_a_full_disk_is_said_and_the_next_night_goes_on(tmp_path, limit):
    # A limit on the size of files fails writes in their middle, as a full disk does.
    clip, root = make_clip(tmp_path / "clip.mp4", 20), tmp_path / "library"
    Library(root)
    done = subprocess.run(
        [sys.executable, "-c", FULL, str(root), str(clip), str(limit)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert "full" in done.stdout + done.stderr
    assert [p for p in root.rglob("*.part")] == []
    summary = read(root, clip)
    assert [file.became for file in summary.files] == ["read"]
    assert Library(root).problems() == []
