"""A library with one bout, its server, and a page in a real Chromium."""

from __future__ import annotations

import shutil
import socket
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import httpx
import pytest
import uvicorn

from pipeline.library import Bout, Library
from pipeline.review import create_app
from tests.review.bouts import MOMENTS, add_bout, write_video

TOKEN = "a-token-for-tests"
BROWSER_ARGUMENTS = (
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip


@dataclass(frozen=True)
class Served:
    """A bout in a library behind a running server."""

    library: Library
    bout: Bout
    address: str

    @property
    def link(self) -> str:
        """The address a human would be given for the bout."""
        return f"{self.address}/bouts/{self.bout.id}#token={TOKEN}"

    def client(self) -> httpx.Client:
        """A client that holds the token."""
        return httpx.Client(base_url=self.address, headers={"Authorization": f"Bearer {TOKEN}"})


@pytest.fixture(scope="session")
def footage(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A real H.264 file of 20 s."""
    return write_video(tmp_path_factory.mktemp("footage") / "mat 2.mp4")


@pytest.fixture
def served(tmp_path: Path, footage: Path) -> Iterator[Served]:
    """A fresh library with one bout, served on a free port."""
    library = Library(tmp_path / "library")
    bout = add_bout(library, footage, moments=MOMENTS, names={"A": "Mara Lind", "B": "Ines Oko"})
    with running(library) as address:
        yield Served(library, bout, address)


class running:
    """Serve a library in a thread."""

    def __init__(self, library: Library) -> None:
        config = uvicorn.Config(create_app(library, TOKEN), log_level="error", lifespan="off")
        self.server = uvicorn.Server(config)
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.thread = threading.Thread(target=self.server.run, args=([self.listener],))

    def __enter__(self) -> str:
        self.thread.start()
        while not self.server.started:
            time.sleep(0.01)
        return f"http://127.0.0.1:{self.listener.getsockname()[1]}"

    def __exit__(self, *error: object) -> None:
        self.server.should_exit = self.server.force_exit = True
        self.thread.join()
        self.listener.close()


@pytest.fixture(scope="session")
def chromium():
    """Debian's Chromium, driven by Playwright."""
    path = shutil.which("chromium")
    if path is None:
        pytest.skip("no chromium on this machine; apt-get install chromium")
    sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=list(BROWSER_ARGUMENTS))
        yield browser
        browser.close()


@pytest.fixture
def page(chromium, served: Served):
    """The bout's page, opened by the printed link; any script error fails the test."""
    context = chromium.new_context(viewport={"width": 1366, "height": 768})
    page = context.new_page()
    errors: list[str] = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.on("console", lambda m: errors.append(m.text) if "Content Security" in m.text else None)
    page.goto(served.link)
    page.wait_for_selector("#story li button")
    yield page
    context.close()
    assert not errors
