"""The routes. Everything the client names (photos, files, tiles) is looked up in a table, never used as a path."""

from __future__ import annotations

import contextlib
import json
import secrets
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import ClientDisconnect, Request
from starlette.responses import FileResponse, HTMLResponse, JSONResponse, Response, StreamingResponse
from starlette.routing import Route

from phototemplate import __version__
from phototemplate.errors import PhototemplateError
from phototemplate.job import JobFile
from phototemplate.units import usual_paper
from phototemplate.web.access import OPEN_PATH, REPORT_POLICY, Guard, Keys, refusal
from phototemplate.web.constants import BODY_LIMIT
from phototemplate.web.open_job import OpenJob
from phototemplate.web.photo_files import PhotoEntry
from phototemplate.web.refusals import Refused, status_of, words_of
from phototemplate.web.workspace import Workspace

STATIC = Path(__file__).parent / "static"
KINDS = {".html": "text/html; charset=utf-8", ".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8",
         ".svg": "image/svg+xml"}
MADE_HERE = {"sheets": {"paper", "what", "print_scale"}, "plan": {"runs", "depth", "sheets", "want", "bar", "paper"},
             "calibrate": {"keep", "name"}}
MADE_OF_A_JOB = {"wall": {"edge", "against", "gap", "corner"}, "estimate": {"prices", "kerf", "turn", "paper"},
                 "slab": {"of"}, "revision": {"to"},
                 "message": {"paper"}, "order": {"option"}, "prices": set()}
CLICKS = {"begin": set(), "propose": {"paper"}, "carry": {"file"}, "fit": {"file", "keep"}, "quote": {"quote"},
          "slab": {"file"}}
FOREVER = {"cache-control": "private, max-age=31536000, immutable"}


def build_app(workspace: Workspace, hosts: frozenset[str], keys: Keys, cookie: str = "phototemplate") -> Starlette:
    """The ASGI app; ``hosts`` are the values of the Host header that are served."""
    pages = Pages(workspace, keys, cookie)

    @contextlib.asynccontextmanager
    async def life(_: Starlette) -> AsyncIterator[None]:
        await workspace.start()
        yield
        await workspace.close()

    routes = [
        Route(OPEN_PATH, pages.open),
        Route("/", pages.index),
        Route("/static/{name}", pages.static),
        Route("/api/state", pages.state),
        Route("/api/result", pages.result),
        Route("/api/schema", pages.schema),
        Route("/api/events", pages.events),
        Route("/api/photos", pages.upload, methods=["PUT"]),
        Route("/api/drawing", pages.drawing, methods=["PUT"]),
        Route("/api/calibration", pages.board_photo, methods=["PUT"]),
        Route("/api/photos/{photo}/marks", pages.marks),
        Route("/api/edit", pages.edit, methods=["POST"]),
        Route("/api/undo", pages.undo, methods=["POST"]),
        Route("/api/redo", pages.redo, methods=["POST"]),
        Route("/api/measure", pages.measure, methods=["POST"]),
        Route("/api/cancel", pages.cancel, methods=["POST"]),
        Route("/api/ask/{what}", pages.ask, methods=["POST"]),
        Route("/api/clicks/{what}", pages.clicks, methods=["POST"]),
        Route("/api/propose", pages.propose, methods=["POST"]),
        Route("/api/turn-down", pages.turn_down, methods=["POST"]),
        Route("/api/accept", pages.accept, methods=["POST"]),
        Route("/api/phone", pages.phone, methods=["POST"]),
        Route("/api/jobs", pages.jobs),
        Route("/api/jobs/{what}", pages.job, methods=["POST"]),
        Route("/picture/{folder}", pages.job_picture),
        Route("/api/finish", pages.finish, methods=["POST"]),
        Route("/api/make/{what}", pages.make, methods=["POST"]),
        Route("/api/archive", pages.archive, methods=["POST"]),
        Route("/download/{name}", pages.download),
        Route("/report", pages.report),
        Route("/thumb/{photo}/{version}", pages.thumb),
        Route("/tiles/photo/{photo}/{version}/{level:int}/{column:int}/{row:int}", pages.photo_tile),
        Route("/tiles/top/{key}/{level:int}/{column:int}/{row:int}", pages.top_tile),
    ]
    return Starlette(
        routes=routes,
        lifespan=life,
        middleware=[Middleware(Guard, hosts=hosts, keys=keys, cookie=cookie)],
        exception_handlers={HTTPException: _http_error, PhototemplateError: _refused, OSError: _refused},
    )


async def _http_error(_: Request, exc: Exception) -> Response:
    assert isinstance(exc, HTTPException)
    return refusal("not-here" if exc.status_code == 404 else "not-so", exc.status_code)


async def _refused(_: Request, exc: Exception) -> Response:
    return JSONResponse(words_of(exc), status_of(exc))


class Pages:
    """The endpoints of one app."""

    def __init__(self, workspace: Workspace, keys: Keys, cookie: str) -> None:
        self.workspace, self.keys, self.cookie = workspace, keys, cookie
        self.files = {p.name: p for p in STATIC.iterdir() if p.suffix in KINDS}
        self.schema_text = ""

    @property
    def opened(self) -> OpenJob:
        """The open job. Raises ``Refused`` where none is open."""
        return self.workspace.opened

    async def open(self, request: Request) -> Response:
        asked_here = request.headers.get("sec-fetch-site", "none") in ("none", "same-origin")
        known = asked_here and self.keys.is_session(request.cookies.get(self.cookie, ""))
        if not known and not self.keys.opens(request.query_params.get("key", "")):
            return refusal("wrong-key", 403)
        # a page that goes on by itself: a redirect would count as coming from the file that the browser was opened with
        answer = HTMLResponse('<!doctype html><meta http-equiv="refresh" content="0;url=/"><title>phototemplate</title>')
        answer.set_cookie(self.cookie, self.keys.session, httponly=True, samesite="strict", path="/")
        return answer

    async def index(self, _: Request) -> Response:
        return FileResponse(self.files["index.html"], media_type=KINDS[".html"], headers={"cache-control": "no-cache"})

    async def static(self, request: Request) -> Response:
        path = self.files.get(request.path_params["name"])
        if path is None:
            raise HTTPException(404)
        return FileResponse(path, media_type=KINDS[path.suffix], headers={"cache-control": "no-cache"})

    # ------------------------------------------------------------------------------------------- state

    async def state(self, _: Request) -> Response:
        here = {"version": __version__, "paper": usual_paper()}
        if self.workspace.current is None:
            return JSONResponse({"home": True, "wanted": self.workspace.wanted, **here})
        return JSONResponse({**self.opened.facts(), "folder": self.opened.folder.name, **here})

    async def result(self, _: Request) -> Response:
        if not self.opened.measuring.result:
            return JSONResponse(None)
        return Response(self.opened.measuring.result, media_type="application/json")

    async def schema(self, _: Request) -> Response:
        self.schema_text = self.schema_text or json.dumps(JobFile.model_json_schema())
        return Response(self.schema_text, media_type="application/json")

    async def events(self, _: Request) -> Response:
        return StreamingResponse(self.workspace.hub.stream(), media_type="text/event-stream",
                                 headers={"cache-control": "no-store", "x-accel-buffering": "no"})

    # ------------------------------------------------------------------------------------------ photos

    async def upload(self, request: Request) -> Response:
        length = request.headers.get("content-length", "")
        try:
            facts = await self.opened.photo_table.take(
                request.stream(), int(length) if length.isdigit() else None, request.query_params.get("name", "")[:300]
            )
        except ClientDisconnect:
            return refusal("cut-short", 400)
        except (Refused, OSError) as exc:
            answer = await _refused(request, exc)
            answer.headers["connection"] = "close"  # the rest of the body is not read
            return answer
        return JSONResponse(facts, 201)

    async def drawing(self, request: Request) -> Response:
        """A maker's drawing of a cut-out, kept in the job's folder."""
        name = request.query_params.get("name", "")[:300]
        return JSONResponse({"file": await self.opened.take_drawing(request.stream(), name)}, 201)

    async def board_photo(self, request: Request) -> Response:
        """A photo of a calibration board; belongs to no job."""
        length = request.headers.get("content-length", "")
        name = request.query_params.get("name", "")[:300]
        size = int(length) if length.isdigit() else None
        return JSONResponse({"n": await self.workspace.take_board_photo(request.stream(), size, name)}, 201)

    def _photo(self, request: Request) -> PhotoEntry:
        entry = self.opened.photo_table.photos.get(request.path_params["photo"])
        if entry is None or entry.version != request.path_params.get("version", entry.version):
            raise HTTPException(404)
        return entry

    async def thumb(self, request: Request) -> Response:
        path = self.opened.photo_table.thumb(self._photo(request))
        if not path.exists():
            raise HTTPException(404)
        return FileResponse(path, media_type="image/jpeg", headers=FOREVER)

    async def photo_tile(self, request: Request) -> Response:
        folder = await self.opened.photo_table.tiles_of(self._photo(request))
        return self._tile(folder, request)

    async def top_tile(self, request: Request) -> Response:
        top = self.opened.measuring.top
        if top is None or not secrets.compare_digest(str(top["key"]).encode(), request.path_params["key"].encode()):
            raise HTTPException(404)
        return self._tile(self.opened.photo_table.cache / f"top-{top['key']}", request)

    def _tile(self, folder: Path, request: Request) -> Response:
        level, column, row = (int(request.path_params[k]) for k in ("level", "column", "row"))
        path = folder / f"{level}_{column}_{row}.jpg"
        if not path.exists():
            raise HTTPException(404)
        return FileResponse(path, media_type="image/jpeg", headers=FOREVER)

    async def marks(self, request: Request) -> Response:
        entry = self._photo(request)
        return JSONResponse(await self.opened.worker.call(
            "quick", "marks", photo_id=entry.photo_id, path=str(entry.path), job_folder=str(self.opened.folder)
        ))

    # ----------------------------------------------------------------------------------------- changes

    async def edit(self, request: Request) -> Response:
        body = await _body(request)
        revision = _text(body, "revision", True)
        return JSONResponse(await self.opened.edit(revision, _label(body.get("label")), body.get("operations")))

    async def undo(self, request: Request) -> Response:
        return JSONResponse(await self.opened.step(_text(await _body(request), "revision", True), True))

    async def redo(self, request: Request) -> Response:
        return JSONResponse(await self.opened.step(_text(await _body(request), "revision", True), False))

    async def measure(self, _: Request) -> Response:
        self.opened.measuring.wish()
        return JSONResponse({})

    async def cancel(self, _: Request) -> Response:
        return JSONResponse({"stopped": self.opened.worker.cancel()})

    async def ask(self, request: Request) -> Response:
        """Questions to the last measurement that change nothing."""
        allowed: dict[str, set[str]] = {
            "photos-showing": {"xy", "most"}, "anchor": {"path", "level"}, "distance": {"a", "b", "mm_per_px"},
            "estimate-choices": set(), "revisions": set(),
        }
        what = request.path_params["what"]
        if what not in allowed:
            raise HTTPException(404)
        body = await _body(request)
        if not set(body) <= allowed[what]:
            raise Refused("bad-question")
        return JSONResponse(await self.opened.ask(what, **body))

    async def clicks(self, request: Request) -> Response:
        """What is clicked in a customer's photos: begun, found, carried over, solved."""
        what = request.path_params["what"]
        if what not in CLICKS:
            raise HTTPException(404)
        body = await _body(request)
        if not set(body) <= CLICKS[what]:
            raise Refused("bad-question")
        return JSONResponse(await self.opened.clicks(what, **body))

    async def propose(self, _: Request) -> Response:
        await self.opened.measuring.propose()
        return JSONResponse({"n": len(self.opened.measuring.proposals)})

    async def turn_down(self, request: Request) -> Response:
        self.opened.measuring.turn_down(_text(await _body(request), "key")[:400])
        return JSONResponse({})

    async def accept(self, request: Request) -> Response:
        made = (await _body(request)).get("made")
        if not isinstance(made, dict):
            raise Refused("bad-question")
        self.opened.measuring.accept({str(k)[:400]: str(v)[:80] for k, v in made.items()})
        return JSONResponse({})

    async def phone(self, request: Request) -> Response:
        """Let a phone send photos, or stop that."""
        if (await _body(request)).get("on") is True:
            return JSONResponse(await self.workspace.phone_on())
        await self.workspace.phone_off()
        return JSONResponse({})

    # -------------------------------------------------------------------------------------------- jobs

    async def jobs(self, _: Request) -> Response:
        w = self.workspace
        return JSONResponse({"jobs": w.jobs(), "wanted": w.wanted, "folder": w.folder.name})

    async def job(self, request: Request) -> Response:
        """Open, make, copy, archive a job; leave the one that is open."""
        body = await _body(request)
        what = request.path_params["what"]
        if what == "leave":
            await self.workspace.leave()
            return JSONResponse({})
        name = _text(body, "name")[:200]
        if what == "open":
            await self.workspace.open(name)
        elif what == "make":
            name = self.workspace.new_job(name)
            await self.workspace.open(name)
        elif what == "copy":
            name = await self.workspace.copy(name)
        elif what == "archive":
            await self.workspace.archive(name)
        else:
            raise HTTPException(404)
        return JSONResponse({"folder": name})

    async def job_picture(self, request: Request) -> Response:
        path = self.workspace.picture(request.path_params["folder"])
        if path is None:
            raise HTTPException(404)
        return FileResponse(path, media_type="image/jpeg")

    # ------------------------------------------------------------------------------------------ finish

    async def finish(self, _: Request) -> Response:
        return JSONResponse(await self.opened.finish())

    async def make(self, request: Request) -> Response:
        """A document that answers one question; what may be asked for it is in ``MADE_HERE`` and ``MADE_OF_A_JOB``."""
        what = request.path_params["what"]
        allowed = MADE_HERE.get(what) or MADE_OF_A_JOB.get(what)
        if allowed is None:
            raise HTTPException(404)
        body = await _body(request)
        if not set(body) <= allowed:
            raise Refused("bad-question")
        made = self.workspace.make if what in MADE_HERE else self.opened.make
        return JSONResponse(await made(what, **body))

    async def archive(self, _: Request) -> Response:
        path = await self.opened.archive()
        self.opened.files["archive"] = path
        return JSONResponse({"name": "archive", "bytes": path.stat().st_size})

    async def download(self, request: Request) -> Response:
        name = request.path_params["name"]
        current = self.workspace.current
        path = (current.files if current is not None else {}).get(name) or self.workspace.files.get(name)
        if path is None or not path.exists():
            raise HTTPException(404)
        shown = f"{_file_stem(self.opened.job.name)}.zip" if name == "archive" else path.name
        return FileResponse(path, filename=shown)

    async def report(self, _: Request) -> Response:
        path = self.opened.files.get("report")
        if path is None or not path.exists():
            raise HTTPException(404)
        return FileResponse(path, media_type=KINDS[".html"], headers={"content-security-policy": REPORT_POLICY})


async def _body(request: Request) -> dict[str, Any]:
    data = bytearray()
    async for chunk in request.stream():
        data += chunk
        if len(data) > BODY_LIMIT:
            raise Refused("too-large", 413)
    try:
        body = json.loads(bytes(data) or b"{}")
        json.dumps(body, ensure_ascii=False, allow_nan=False).encode()  # no text and no number that cannot be written again
    except (ValueError, RecursionError) as exc:
        raise Refused("bad-question") from exc
    if not isinstance(body, dict):
        raise Refused("bad-question")
    return body


def _text(body: dict[str, Any], key: str, empty: bool = False) -> str:
    value = body.get(key)
    if not isinstance(value, str) or (not value and not empty):
        raise Refused("bad-question", what=key)
    return value


def _label(value: Any) -> dict[str, str]:
    """What the page calls the change: the key of a phrase and the name it is about."""
    if not isinstance(value, dict):
        return {"key": "change"}
    return {k: str(value[k])[:80] for k in ("key", "name") if k in value}


def _file_stem(name: str) -> str:
    stem = "".join(c if c.isalnum() or c in "-_" else "-" for c in name).strip("-")
    return stem[:60] or "job"
