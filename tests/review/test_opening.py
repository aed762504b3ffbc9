"""Opening the page gives its token to nobody else on the machine."""

from __future__ import annotations

import os
import stat
from pathlib import Path
from urllib.parse import urlsplit
from urllib.request import url2pathname

import httpx
import pytest

from pipeline.review import server
from tests.review.conftest import TOKEN, Served


@pytest.fixture
def opened(served: Served, monkeypatch):
    """The address that the browser's command line would show, while the page is served."""
    asked: list[str] = []
    monkeypatch.setattr(server.webbrowser, "open", asked.append)
    with server._opened(served.link):
        yield asked[0]


def file_of(address: str) -> Path:
    return Path(url2pathname(urlsplit(address).path))


def test_the_token_is_on_no_command_line_and_in_no_file_of_others(opened):
    assert TOKEN not in opened
    path = file_of(opened)
    assert TOKEN in path.read_text(encoding="utf-8")
    if os.name == "posix":
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
        assert stat.S_IMODE(path.parent.stat().st_mode) == 0o700


def test_the_file_that_is_opened_leads_to_the_bout(opened, chromium, served):
    context = chromium.new_context()
    page = context.new_page()
    page.goto(opened)
    page.wait_for_selector("#story li button")
    assert page.url == f"{served.address}/bouts/{served.bout.id}"
    context.close()


def test_the_file_is_gone_when_the_page_is_closed(served, monkeypatch):
    asked: list[str] = []
    monkeypatch.setattr(server.webbrowser, "open", asked.append)
    with server._opened(served.link):
        assert file_of(asked[0]).exists()
    assert not file_of(asked[0]).exists()


def test_who_sees_the_cookie_does_not_know_the_token(served):
    with httpx.Client(base_url=served.address) as client:
        client.post("/api/session", json={"token": TOKEN})
        (value,) = client.cookies.values()
        assert TOKEN not in value
        assert client.post("/api/session", json={"token": value}).status_code == 401
    bearer = {"Authorization": f"Bearer {value}"}
    assert httpx.get(served.address + "/api/bouts", headers=bearer).status_code == 401
