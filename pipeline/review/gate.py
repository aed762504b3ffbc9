"""Who may talk to the page: one person, on this machine, with the link that was printed.

A page in another tab of the same browser can send requests to 127.0.0.1 as well. So every
request for someone's footage needs the token, the Host header must be this machine (against DNS
rebinding) and what changes something must come from the page itself (against forged requests).
"""

from __future__ import annotations

import hashlib
import hmac
import re
from http.cookies import CookieError, SimpleCookie
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import JSONResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

LOCAL_HOSTS = frozenset({"127.0.0.1", "localhost"})
SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})

SECURITY_HEADERS = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; "
        "media-src 'self'; connect-src 'self'; form-action 'none'; base-uri 'none'; "
        "frame-ancestors 'none'"
    ),
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
    "referrer-policy": "no-referrer",
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
}


def cookie_name(token: str) -> str:
    """Return the session cookie's name; browsers share cookies between ports, so it varies."""
    return "matline_" + hashlib.sha256(token.encode()).hexdigest()[:8]


class Gate:
    """ASGI middleware that turns away everyone but the page that holds the token.

    Parameters
    ----------
    app : ASGIApp
        What is behind the gate.
    token : str
        The secret in the printed link.
    session : str
        The cookie's value: another secret, so that who sees the cookie can't open a session.
    max_body_bytes : int
        Requests with a larger body are refused (413), with or without a length header.
    """

    def __init__(self, app: ASGIApp, token: str, session: str, max_body_bytes: int) -> None:
        self.app = app
        self.token = token
        self.session = session
        self.max_body_bytes = max_body_bytes

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer or pass on one request."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self.app(scope, receive, send)
            return
        send = _with_security_headers(send, private=_is_private(scope["path"]))
        refusal = self._refusal(scope)
        if refusal is not None:
            status, sentence = refusal
            await JSONResponse({"detail": sentence}, status)(scope, receive, send)
            return
        body = await _read_body(receive, self.max_body_bytes)
        if body is None:
            await self._too_large()(scope, receive, send)
            return
        await self.app(scope, _first(body, receive), send)

    def _too_large(self) -> JSONResponse:
        return JSONResponse({"detail": f"Send at most {self.max_body_bytes} bytes."}, 413)

    def _refusal(self, scope: Scope) -> tuple[int, str] | None:
        headers = Headers(scope=scope)
        host = headers.get("host", "")
        if _host_name(host) not in LOCAL_HOSTS:
            return 421, "This page answers on this machine only; open the link that was printed."
        if scope["method"] not in SAFE_METHODS and not _from_this_page(headers, host):
            return 403, "The request did not come from this page."
        if _is_private(scope["path"]) and not self._knows_token(headers):
            return 401, "Open the page with the link that `matline review` printed."
        return None

    def _knows_token(self, headers: Headers) -> bool:
        bearer = headers.get("authorization", "").removeprefix("Bearer ")
        return matches(bearer, self.token) or matches(self._cookie(headers), self.session)

    def _cookie(self, headers: Headers) -> str:
        try:
            morsel = SimpleCookie(headers.get("cookie", "")).get(cookie_name(self.token))
        except CookieError:
            return ""
        return morsel.value if morsel else ""


def matches(given: str, token: str) -> bool:
    """Compare a given token with the true one in constant time."""
    return hmac.compare_digest(given.encode(), token.encode())


async def _read_body(receive: Receive, limit: int) -> bytes | None:
    """Return a whole request body, or None once it is too long; ours are short by design."""
    body = b""
    while True:
        message = await receive()
        body += message.get("body", b"")
        if len(body) > limit:
            return None
        if not message.get("more_body", False):
            return body


def _first(body: bytes, receive: Receive) -> Receive:
    """Give the body first, then what comes after it (a disconnection)."""
    waiting = [body]

    async def next_message() -> Message:
        if waiting:
            return {"type": "http.request", "body": waiting.pop(), "more_body": False}
        return await receive()

    return next_message


def _is_private(path: str) -> bool:
    return path.startswith("/api/") and path != "/api/session"


def _host_name(host: str) -> str:
    return re.sub(r":\d{1,5}$", "", host)


def _from_this_page(headers: Headers, host: str) -> bool:
    """Tell whether a request that changes something was made by our own page or by no browser."""
    if headers.get("sec-fetch-site", "same-origin") != "same-origin":
        return False
    origin = headers.get("origin")
    if origin is None:
        return True
    try:
        parts = urlsplit(origin)
    except ValueError:
        return False
    return parts.scheme == "http" and parts.netloc == host


def _with_security_headers(send: Send, private: bool) -> Send:
    async def send_with_headers(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in SECURITY_HEADERS.items():
                headers.setdefault(name, value)
            headers.setdefault("cache-control", "private, no-store" if private else "no-cache")
        await send(message)

    return send_with_headers
