"""A library that may only be read can be looked at, and says so when it can't be changed."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys

import pytest

from pipeline.library import Library
from tests.library.test_library import accept, save

BARE = ["setpriv", "--bounding-set=-all", "--inh-caps=-all"]
"""Root may write anywhere; without its capabilities it is a user like others."""

pytestmark = pytest.mark.skipif(
    os.name != "posix" or (os.geteuid() == 0 and shutil.which("setpriv") is None),
    reason="nothing is read-only for root",
)


def python(code: str, *arguments: object) -> subprocess.CompletedProcess[str]:
    bare = BARE if os.geteuid() == 0 else []
    command = [*bare, sys.executable, "-c", code, *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)


def matline(*arguments: object) -> subprocess.CompletedProcess[str]:
    return python("from pipeline.cli import main; main()", *arguments)


@pytest.fixture
def shelf(tmp_path):
    """A library of one corrected bout that may not be written."""
    library = Library(tmp_path / "library")
    bout = save(library)
    for id in ("s1", "s2", "s3"):
        library.append(bout, accept(id))
    folders = [library.root, *(p for p in library.root.rglob("*") if p.is_dir())]
    for folder in folders:
        for path in folder.iterdir():
            path.chmod(0o500 if path.is_dir() else 0o400)
    library.root.chmod(0o500)
    yield library.root
    for folder in folders:
        folder.chmod(0o700)


def test_bouts_are_listed_and_exported_and_studied(shelf, tmp_path):
    listed = matline("bouts", "--library", shelf)
    assert (listed.returncode, listed.stderr) == (0, "")
    assert "3 of 6 seen" in listed.stdout
    exported = matline("export", "--to", tmp_path / "out", "--library", shelf)
    assert exported.returncode == 0, exported.stderr
    assert len(list((tmp_path / "out").iterdir())) == 4
    report = matline("report", "--to", tmp_path / "report.html", "--library", shelf)
    assert report.returncode == 0, report.stderr


def test_a_change_is_refused_in_a_sentence(shelf, tmp_path):
    for arguments in (
        ("describe", "Final", "--a", "Kim"),
        ("remove", "Final", "--yes"),
        ("read", tmp_path / "x.mp4"),
    ):
        done = matline(*arguments, "--library", shelf)
        assert done.returncode == 1
        assert "may only be read, so nothing was changed" in done.stderr
        assert len(done.stderr.splitlines()) == 1


def test_the_page_shows_everything_and_refuses_a_correction(shelf):
    done = python(PAGE, shelf)
    assert done.returncode == 0, done.stderr


PAGE = """
import sys
from pathlib import Path
from fastapi.testclient import TestClient
from pipeline.library import Library
from pipeline.review import create_app
library = Library(Path(sys.argv[1]))
bout = library.bouts()[0].id
client = TestClient(create_app(library, "token"), base_url="http://127.0.0.1")
client.headers["authorization"] = "Bearer token"
for path in ("", "/timeline", "/work", "/score", "/trace", "/samples", "/points", "/export.csv"):
    answer = client.get(f"/api/bouts/{bout}{path}")
    assert answer.status_code == 200, (path, answer.text)
change = {"action": "accept", "arguments": {"segment": "s4"}, "expected_revision": 3,
          "effort": {"seconds": 1, "keys": 1, "clicks": 0}}
for answer in (
    client.post(f"/api/bouts/{bout}/corrections", json=change),
    client.put(f"/api/bouts/{bout}/score", json={"lines": []}),
):
    assert answer.status_code == 422, answer.text
    assert "may only be read" in answer.json()["detail"]
assert client.post(f"/api/bouts/{bout}/effort", json=change["effort"]).status_code == 204
assert library.revision(bout) == 3
"""
