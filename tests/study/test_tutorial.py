"""The tutorial's commands, run one after the other by a fresh user with three bouts."""

import csv
import re
import shlex
import sys
from pathlib import Path

import av
import pytest

from pipeline.cli import main
from pipeline.library import Library
from pipeline.timeline import Correction, new_id
from tests.overnight.figures import make_clip

PAGE = Path(__file__).resolve().parents[2] / "docs" / "tutorial.md"
READER = "tests.overnight.figures:FigureReader"
BOUT = (
    (0, 5, "standing", None),
    (5, 12, "half_guard", "B"),
    (12, 20, "side_control", "A"),
    (20, 26, "mount", "A"),
    (26, 34, "half_guard", "B"),
    (34, 40, "side_control", "A"),
)
"""What a person says on the page happened; A is swept once over and sweeps twice."""


@pytest.fixture
def home(tmp_path, monkeypatch):
    """A folder with three bouts, and no library yet."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("MATLINE_LIBRARY", str(tmp_path / "library"))
    monkeypatch.setattr("pipeline.cli.reading.backend_or_default", lambda name: READER)
    (tmp_path / "weekend").mkdir()
    for number, name in enumerate(("first", "second", "final")):
        make_clip(tmp_path / "weekend" / f"{name}.mp4", 40.0 + number)
    return tmp_path


def correct_on_the_page(library: Library) -> None:
    """Do what the page does when a person names every position."""
    for bout in library.bouts():
        for start_s, end_s, position, top in BOUT:
            arguments = {"start_s": start_s, "end_s": end_s, "position": position, "top": top}
            ids = {"id": new_id(), "rest_id": new_id()}
            library.append(bout.id, Correction("add_segment", arguments | ids))
        library.append(bout.id, Correction("set_bounds", {"start_s": 0.0, "end_s": 40.0}))


def run(line: str, monkeypatch) -> int:
    monkeypatch.setattr(sys, "argv", shlex.split(line))
    try:
        main()
    except SystemExit as ended:
        return int(ended.code or 0)
    return 0


def test_every_command_of_the_tutorial_works_in_order(home, monkeypatch, capsys):
    blocks = re.findall(r"```(sh|console)\n(.*?)```", PAGE.read_text(), re.S)
    for kind, block in blocks:
        if kind == "console":
            assert block.strip() == "matline review"
            correct_on_the_page(Library(home / "library"))
            continue
        for line in block.strip().splitlines():
            code = run(line, monkeypatch)
            said = capsys.readouterr()
            # `check` may miss optional parts on the machine that tests.
            assert code == 0 or line == "matline check", f"{line}: {said.err}"

    assert "Kim: 3 bouts" in (home / "kim.html").read_text()
    assert "Kim and Iris" in (home / "final.html").read_text()
    with (home / "kim-tables" / "rates.csv").open(newline="") as file:
        rates = {(r["kind"], r["by"]): r["held"] for r in csv.DictReader(file)}
    # Kim is A in two bouts and B in one; A sweeps twice a bout, B reverses once from the mount.
    assert rates["sweep", "own"] == "4"
    assert rates["sweep", "opponent"] == "2"
    with av.open(str(home / "sweeps.mp4")) as reel:
        assert len(reel.chapters()) == 6
    assert len(list((home / "half-guard").glob("*.mp4"))) == 4
    assert (home / "second-look.csv").exists()
    assert len(list((home / "for-monday").glob("*.vtt"))) == 3
    assert len(list((home / "archive").glob("*/datapackage.json"))) == 1
