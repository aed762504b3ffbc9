"""Nobody but the page that holds the token reads or changes anything."""

from __future__ import annotations

import socket

import httpx
import pytest

from pipeline.review.gate import SECURITY_HEADERS, cookie_name
from tests.review.conftest import TOKEN


def private(served) -> str:
    return f"/api/bouts/{served.bout.id}/timeline"


def test_without_the_token_nothing_of_the_library_is_shown(served):
    for path in ("/api/bouts", private(served), f"/api/bouts/{served.bout.id}/video"):
        answer = httpx.get(served.address + path)
        assert answer.status_code == 401
        assert served.bout.title not in answer.text
    wrong = {"Authorization": "Bearer a-token-for-test"}
    assert httpx.get(served.address + "/api/bouts", headers=wrong).status_code == 401


def test_the_printed_token_buys_a_cookie_that_scripts_cannot_read(served):
    refused = httpx.post(served.address + "/api/session", json={"token": "guess"})
    assert refused.status_code == 401
    with httpx.Client(base_url=served.address) as client:
        answer = client.post("/api/session", json={"token": TOKEN})
        cookie = answer.headers["set-cookie"]
        assert cookie.startswith(cookie_name(TOKEN))
        assert {"HttpOnly", "SameSite=strict", "Path=/api"} <= set(cookie.split("; "))
        assert client.get("/api/bouts").status_code == 200


def test_a_page_of_another_name_for_this_machine_is_turned_away(served):
    for host in ("evil.example", "127.0.0.1.evil.example", "evil.example:80", ""):
        with served.client() as client:
            assert client.get("/api/bouts", headers={"Host": host}).status_code == 421


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Origin": "http://127.0.0.1:1"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
    ],
)
def test_another_page_of_the_same_browser_cannot_change_a_bout(served, headers):
    body = {"action": "accept", "arguments": {"segment": "s0000"}, "expected_revision": 0}
    path = f"/api/bouts/{served.bout.id}/corrections"
    with served.client() as client:
        assert client.post(path, json=body, headers=headers).status_code == 403
        assert served.library.revision(served.bout.id) == 0
        assert client.post(path, json=body, headers={"Origin": served.address}).status_code == 200


def test_every_answer_carries_the_security_headers(served):
    with served.client() as client:
        for path in ("/", f"/bouts/{served.bout.id}", "/static/bout.js", "/api/bouts", "/nothing"):
            answer = client.get(path)
            assert {name: answer.headers[name] for name in SECURITY_HEADERS} == SECURITY_HEADERS
        assert client.get("/api/bouts").headers["cache-control"] == "private, no-store"


def test_the_content_policy_allows_no_inline_script():
    policy = SECURITY_HEADERS["content-security-policy"]
    assert "unsafe" not in policy
    assert "default-src 'none'" in policy


def test_a_body_too_large_is_refused_with_and_without_its_length(served):
    path = f"/api/bouts/{served.bout.id}/corrections"
    with served.client() as client:
        assert client.post(path, content=b"x" * 70_000).status_code == 413
        chunks = (b"x" * 1000 for _ in range(70))
        assert client.post(path, content=chunks).status_code == 413


def test_paths_that_climb_out_of_the_pages_folder_find_nothing(served):
    host, port = served.address.removeprefix("http://").split(":")
    for path in ("/static/../app.py", "/static/%2e%2e/app.py", "/static/..%2fapp.py", "/bouts/.."):
        with socket.create_connection((host, int(port))) as raw:
            raw.sendall(
                f"GET {path} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n".encode()
            )
            answer = b"".join(iter(lambda: raw.recv(65536), b""))
        assert answer.startswith((b"HTTP/1.1 404", b"HTTP/1.1 422")), path
