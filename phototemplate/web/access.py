"""Who may talk to the app: only the browser page that the app itself opened on this machine.

Four locks, each against something of its own: the Host header (a foreign name that resolves to this machine), the Origin
header and ``Sec-Fetch-Site`` (a foreign page in the same browser), and a random token per start (another user or program of
this machine). Every answer carries a policy under which the page can load nothing from anywhere else.
"""

from __future__ import annotations

import hmac
import secrets
from collections.abc import Awaitable, Callable, MutableMapping
from dataclasses import dataclass, field
from http.cookies import CookieError, SimpleCookie
from typing import Any

from starlette.responses import JSONResponse, Response

from phototemplate.web.constants import BODY_LIMIT

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; connect-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
REPORT_POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'; sandbox"
"""The report is one file without scripts that carries its own styles and pictures."""

UPLOADS = ("/api/photos", "/api/calibration", "/api/drawing")
OPEN_PATH = "/open"


@dataclass
class Keys:
    """The secrets of one start."""

    start: str = field(default_factory=lambda: secrets.token_urlsafe(32))
    """In the address that is opened first; good for once"""
    session: str = field(default_factory=lambda: secrets.token_urlsafe(32))
    """In the cookie it is exchanged for"""

    spent: bool = False
    """The start token was used"""

    def opens(self, text: str) -> bool:
        """Whether a start token is the right one. It opens once: whoever reads it afterwards has nothing."""
        right = not self.spent and hmac.compare_digest(self.start.encode(), text.encode())
        self.spent |= right
        return right

    def is_session(self, text: str) -> bool:
        """Whether a cookie is the right one."""
        return hmac.compare_digest(self.session.encode(), text.encode())


def refusal(code: str, status: int, detail: str = "") -> JSONResponse:
    """An answer that the page turns into a sentence by its code."""
    return JSONResponse({"error": code, "detail": detail}, status_code=status)


class Guard:
    """ASGI middleware around the whole app."""

    def __init__(self, app: App, hosts: frozenset[str], keys: Keys, cookie: str) -> None:
        self.app = app
        self.hosts = hosts
        self.keys = keys
        self.cookie = cookie

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":  # no web sockets here
            return
        refused = self._refused(scope)
        if refused is not None:
            await refused(scope, receive, with_headers(send))
            return
        await self.app(scope, receive, with_headers(send))

    def _refused(self, scope: Scope) -> Response | None:
        headers = headers_of(scope)
        for name in ("host", "origin", "sec-fetch-site", "cookie", "content-length"):
            if len(headers.get(name, [])) > 1:
                return refusal("header-twice", 400)
        host = _only(headers, "host")
        if host not in self.hosts:
            return refusal("foreign-host", 421)
        reading = scope["method"] in ("GET", "HEAD")
        site = _only(headers, "sec-fetch-site")
        opening = reading and scope["path"] == OPEN_PATH  # from a file of this user's, which browsers count as another site
        if site and not opening and site != "same-origin" and not (reading and site == "none"):
            return refusal("foreign-site", 403)
        origin = _only(headers, "origin")
        if (origin and origin != f"http://{host}") or (not reading and not origin):
            return refusal("foreign-origin", 403)
        if scope["path"] == OPEN_PATH:
            return None
        if not self.keys.is_session(_cookie(_only(headers, "cookie"), self.cookie)):
            return refusal("no-session", 401)
        length = _only(headers, "content-length")
        if scope["path"] not in UPLOADS and length.isdigit() and int(length) > BODY_LIMIT:
            return refusal("too-large", 413)
        return None


def headers_of(scope: Scope) -> dict[str, list[str]]:
    """Headers of a request by their lower-case names, each with all its values."""
    out: dict[str, list[str]] = {}
    for name, value in scope["headers"]:
        out.setdefault(name.decode("latin-1").lower(), []).append(value.decode("latin-1"))
    return out


def _only(headers: dict[str, list[str]], name: str) -> str:
    return headers.get(name, [""])[0]


def _cookie(text: str, name: str) -> str:
    jar: SimpleCookie = SimpleCookie()
    try:
        jar.load(text)
    except CookieError:
        return ""
    return jar[name].value if name in jar else ""


def with_headers(send: Send) -> Send:
    """Add the headers that every answer carries, where the answer does not set its own."""
    wanted = {
        b"content-security-policy": POLICY.encode(),
        b"x-content-type-options": b"nosniff",
        b"referrer-policy": b"no-referrer",
        b"cross-origin-opener-policy": b"same-origin",
        b"cross-origin-resource-policy": b"same-origin",
        b"permissions-policy": b"camera=(), microphone=(), geolocation=()",
        b"x-frame-options": b"DENY",
        b"cache-control": b"no-store",
    }

    async def sender(message: Message) -> None:
        if message["type"] == "http.response.start":
            own = list(message.get("headers", []))
            names = {name.lower() for name, _ in own}
            message = {**message, "headers": own + [(k, v) for k, v in wanted.items() if k not in names]}
        await send(message)

    return sender
