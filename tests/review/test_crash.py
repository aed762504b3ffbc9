"""A server that dies in the middle of correcting loses nothing that the page called saved."""

from __future__ import annotations

import signal
import subprocess
import sys
import time

import httpx

from pipeline.library import Library
from tests.review.bouts import add_bout

SERVE = """
import sys
from pathlib import Path
from pipeline.review import serve
serve(Path(sys.argv[1]), open_browser=False, say=lambda line: print(line, flush=True))
"""


def start(root) -> tuple[subprocess.Popen, httpx.Client]:
    command = [sys.executable, "-c", SERVE, str(root)]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    link = process.stdout.readline().split()[-1]
    address, token = link.split("/#token=")
    client = httpx.Client(base_url=address, headers={"Authorization": f"Bearer {token}"})
    for _ in range(200):
        try:
            client.get("/")
            break
        except httpx.ConnectError:
            time.sleep(0.05)
    return process, client


def test_after_kill_9_every_confirmed_correction_is_there(tmp_path, footage):
    root = tmp_path / "library"
    bout = add_bout(Library(root), footage)
    path = f"/api/bouts/{bout.id}/corrections"
    confirmed = 0
    for round_ in range(3):
        process, client = start(root)
        try:
            for number in range(7):
                body = {
                    "action": "note",
                    "arguments": {"segment": "s0002", "text": f"{round_}-{number}"},
                    "expected_revision": confirmed,
                }
                assert client.post(path, json=body).json()["revision"] == confirmed + 1
                confirmed += 1
        finally:
            process.send_signal(signal.SIGKILL)
            process.wait()
        assert Library(root).revision(bout.id) == confirmed
        assert Library(root).timeline(bout.id).segments[2].note == f"{round_}-6"
    assert Library(root).problems() == []
