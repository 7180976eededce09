"""Photos from a phone on site: a second listener on one address of the local network, behind one random link.

It is off unless asked for and dies with the program. Whoever has the link may add photos to the open job and read how that
goes, and nothing else: no picture, no name and no size of the job leaves here. Size, rate and Host are checked; the link is not
encrypted, which the page says.
"""

from __future__ import annotations

import asyncio
import contextlib
import secrets
import socket
import time
from collections import deque
from collections.abc import Callable
from pathlib import Path
from typing import Any

import uvicorn
from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import Route

from phototemplate.errors import PhototemplateError
from phototemplate.web.access import App, Receive, Scope, Send, headers_of, refusal, with_headers
from phototemplate.web.constants import PHONE_CALLS, PHONE_UPLOADS
from phototemplate.web.coverage import missing, photo_of
from phototemplate.web.open_job import OpenJob
from phototemplate.web.refusals import Refused, status_of, words_of

STATIC = Path(__file__).parent / "static"
SERVED = {
    "phone.js": "text/javascript", "dom.js": "text/javascript", "text.js": "text/javascript", "style.css": "text/css",
    **{p.name: "text/javascript" for p in STATIC.glob("text.*.js")},
}
"""The only files a phone gets"""


def local_address() -> str:
    """The address of this machine in its network; the machine's own where it has none. Nothing is sent to find it."""
    with contextlib.closing(socket.socket(socket.AF_INET, socket.SOCK_DGRAM)) as probe:
        try:
            probe.connect(("10.255.255.255", 1))
            found: str = probe.getsockname()[0]
        except OSError:
            found = "127.0.0.1"
    return found


class PhoneGuard:
    """ASGI middleware: the right Host, the right link, not too often."""

    def __init__(self, app: App, host: Callable[[], str], token: str) -> None:
        self.app, self.host, self.token = app, host, token
        self._calls: deque[float] = deque()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
        elif scope["type"] == "http":
            refused = self._refused(scope)
            await (refused or self.app)(scope, receive, with_headers(send))

    def _refused(self, scope: Scope) -> Response | None:
        headers = headers_of(scope)
        host = headers.get("host", [""])
        if host != [self.host()]:
            return refusal("foreign-host", 421)
        part = scope["path"].split("/")
        if len(part) < 3 or part[1] != "p" or not secrets.compare_digest(part[2].encode(), self.token.encode()):
            return refusal("not-here", 404)
        if headers.get("sec-fetch-site", ["none"])[0] not in ("none", "same-origin"):
            return refusal("foreign-site", 403)
        origin = headers.get("origin", [])
        if (origin and origin != [f"http://{self.host()}"]) or (scope["method"] not in ("GET", "HEAD") and not origin):
            return refusal("foreign-origin", 403)
        now = time.monotonic()
        while self._calls and now - self._calls[0] > 1.0:
            self._calls.popleft()
        if len(self._calls) >= PHONE_CALLS:
            return refusal("too-often", 429)
        self._calls.append(now)
        return None


class PhoneLink:
    """The listener for one open job, from being asked for until it is closed."""

    def __init__(self, opened: OpenJob, address: str | None = None) -> None:
        self.opened = opened
        self.token = secrets.token_urlsafe(24)
        self._listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        try:
            self._listener.bind((address or local_address(), 0))
        except OSError as exc:
            self._listener.close()
            raise Refused("no-network", 503) from exc
        self.host = "{}:{}".format(*self._listener.getsockname())
        self.url = f"http://{self.host}/p/{self.token}/"
        self.arrived: dict[str, float] = {}
        """Photos that came this way, and when"""
        self._uploads = asyncio.Semaphore(PHONE_UPLOADS)
        self._task: asyncio.Task[None] | None = None
        self._server: uvicorn.Server | None = None

    def app(self) -> App:
        """What the listener serves."""
        base = "/p/{token}"
        routes = [
            Route(f"{base}/", self._page), Route(f"{base}/state", self._state),
            Route(f"{base}/photo", self._photo, methods=["PUT"]), Route(f"{base}/{{name}}", self._file),
        ]
        handlers: Any = {PhototemplateError: _refused, HTTPException: _refused, OSError: _refused}
        return PhoneGuard(Starlette(routes=routes, exception_handlers=handlers), lambda: self.host, self.token)

    async def start(self) -> None:
        """Listen; returns once somebody can connect."""
        config = uvicorn.Config(self.app(), log_level="error", access_log=False, server_header=False, loop="asyncio",
                                http="h11", ws="none", lifespan="off", proxy_headers=False, timeout_graceful_shutdown=1)
        self._server = uvicorn.Server(config)
        self._listener.listen(16)
        self._task = asyncio.get_running_loop().create_task(_serve(self._server, self._listener))
        while not self._server.started and not self._task.done():
            await asyncio.sleep(0.02)

    async def close(self) -> None:
        """The link is dead from here on."""
        if self._server is not None:
            self._server.should_exit = True
        if self._task is not None:
            with contextlib.suppress(Exception, asyncio.CancelledError):
                await asyncio.wait_for(self._task, 3.0)
        self._listener.close()

    async def _page(self, _: Request) -> Response:
        return FileResponse(STATIC / "phone.html", media_type="text/html; charset=utf-8")

    async def _file(self, request: Request) -> Response:
        name = request.path_params["name"]
        if name not in SERVED:
            raise HTTPException(404)
        return FileResponse(STATIC / name, media_type=f"{SERVED[name]}; charset=utf-8")

    async def _photo(self, request: Request) -> Response:
        length = request.headers.get("content-length", "")
        if self._uploads.locked():
            return refusal("too-often", 429)
        async with self._uploads:
            try:
                facts = await self.opened.photo_table.take(
                    request.stream(), int(length) if length.isdigit() else None, request.query_params.get("name", "")[:100]
                )
            except ClientDisconnect:
                return refusal("cut-short", 400)
            except (Refused, OSError) as exc:
                answer = await _refused(request, exc)
                answer.headers["connection"] = "close"
                return answer
        self.arrived[facts["id"]] = time.monotonic()
        self.opened.hub.tell("phone", n=len(self.arrived))
        return JSONResponse({"id": facts["id"]}, 201)

    async def _state(self, _: Request) -> Response:
        """Progress of the photos that came this way, and what all photos of the job together still lack."""
        table = self.opened.photo_table.photos
        mine = [table[i] for i in self.arrived if i in table]
        seen = [photo_of(p.seen) for p in table.values() if p.seen and p.used]
        return JSONResponse({
            "photos": [self._told(p.photo_id, p.state, p.seen) for p in mine],
            "missing": missing(seen), "count": len(seen), "units": self.opened.job.file.units,
            "worst_U": self.opened.measuring.worst_U_mm(), "tolerance": self.opened.job.file.tolerance,
        })  # fmt: skip

    @staticmethod
    def _told(photo_id: str, state: str, seen: dict[str, Any]) -> dict[str, Any]:
        if not seen:
            return {"id": photo_id, "state": state}
        photo = photo_of(seen)
        return {"id": photo_id, "state": state, "targets": len(photo.targets), "sharp": photo.sharp}


async def _refused(_: Request, exc: Exception) -> Response:
    if isinstance(exc, HTTPException):
        return refusal("not-here", exc.status_code)
    return JSONResponse(words_of(exc), status_of(exc))


async def _serve(server: uvicorn.Server, listener: socket.socket) -> None:
    """Serve without touching the signals, which belong to the app's own server."""
    server.config.load()
    server.lifespan = server.config.lifespan_class(server.config)
    await server.startup(sockets=[listener])
    if not server.should_exit:
        await server.main_loop()
    await server.shutdown(sockets=[listener])
