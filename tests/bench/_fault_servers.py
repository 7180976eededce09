"""The app as it runs, server and worker killed at random moments under a stream of edits.

One job goes through all kills: what was confirmed before any of them must be there after every later start, in its order, and
undo must still take back the last of it.
"""

from __future__ import annotations

import json
import os
import random
import signal
import threading
import time
from contextlib import suppress
from http.client import HTTPConnection, HTTPException
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from phototemplate.job import load_job
from phototemplate.web.journal import JOURNAL_FILE
from tests.bench._fault_kills import Tried
from tests.web.kit import Served, few_photos, start_on

LONGEST_S = 1.5
"""How long a server lives at most, from its first answer"""
ORPHAN_S = 30.0
"""How long its worker may outlive it: one that is only starting hears of it when it has started"""


class Client:
    """A page that sends one edit after another and notes what was confirmed."""

    def __init__(self, app: Served) -> None:
        place = urlsplit(app.address)
        self._host = place.netloc
        self._headers = {"Origin": f"http://{place.netloc}", "Sec-Fetch-Site": "same-origin"}
        self._line = HTTPConnection(place.netloc, timeout=30)
        self._line.request("GET", f"{place.path}?{place.query}", headers=self._headers)
        answer = self._line.getresponse()
        answer.read()
        self._headers["Cookie"] = (answer.headers["Set-Cookie"] or "").split(";")[0]

    def ask(self, path: str, **body: Any) -> tuple[int, Any]:
        """Status and answer; GET where nothing is sent along."""
        text = json.dumps(body) if body else None
        self._line.request("POST" if body else "GET", path, text, self._headers)
        answer = self._line.getresponse()
        return answer.status, json.loads(answer.read())

    def edges(self) -> list[str]:
        """Ids of the job's edges, in their order."""
        return [edge["id"] for edge in self.ask("/api/state")[1]["job"].get("edges", [])]

    def stream(self, first: int, confirmed: list[str], refused: list[str]) -> None:
        """Add edges until the server has gone."""
        with suppress(OSError, HTTPException, ValueError):
            revision = self.ask("/api/state")[1]["revision"]
            for number in range(first, first + 100_000):
                name = f"e{number}"
                edge = {"id": name, "kind": "front", "photo": "IMG_2303", "path": [[1, 2], [3, 4]]}
                status, answer = self.ask(
                    "/api/edit", revision=revision, label={}, operations=[{"op": "add", "at": ["edges"], "value": edge}]
                )
                if status == 200:
                    confirmed.append(name)
                    revision = answer["revision"]
                else:
                    refused.append(f"{status} {answer}")
                    revision = self.ask("/api/state")[1]["revision"]


def workers_of(process: int) -> list[int]:
    """The app's worker processes, by Linux's list of children."""
    found = []
    for task in Path(f"/proc/{process}/task").glob("*/children"):
        with suppress(OSError):
            found += [int(child) for child in task.read_text().split()]
    return [p for p in found if _runs(p, b"spawn_main")]


def _runs(process: int, what: bytes) -> bool:
    with suppress(OSError):
        return what in Path(f"/proc/{process}/cmdline").read_bytes()
    return False


def killed_apps(kills: int, seed: int, folder: Path) -> Tried:
    """``kills`` times: the server, or first its worker and then the server, while edits come in and photos are measured."""
    rng, out = random.Random(seed), Tried("apps killed", kills)
    few_photos(folder / "photos")
    (folder / "job.toml").write_text('name = "k"\n')
    confirmed: list[str] = []
    edits = 0
    for k in range(kills + 1):  # the last start only looks
        began = time.perf_counter()
        app = start_on(folder)
        try:
            client = Client(app)
            _look(client, confirmed, out)
            out.slowest_s = round(max(out.slowest_s, time.perf_counter() - began), 2)
            if k < kills:
                before = len(confirmed)
                _killed(app, client, confirmed, rng, out, with_worker=k % 2 == 1)
                edits += len(confirmed) - before
        except Exception as exc:
            out.fault(exc, f"start {k}")
        finally:
            app.kill()
    out.kind = f"apps killed, {edits} edits confirmed"
    out.mixed += sum(1 for p in folder.rglob("*.part*"))
    return out


def _look(client: Client, confirmed: list[str], out: Tried) -> None:
    """What an app that was started anew has; then the last of it is undone."""
    have = client.edges()
    out.lost += have[: len(confirmed)] != confirmed or len(have) > len(confirmed) + 1
    if len(have) > 1:
        revision = client.ask("/api/state")[1]["revision"]
        out.lost += client.ask("/api/undo", revision=revision)[0] != 200 or client.edges() != have[:-1]
    confirmed[:] = client.edges()


def _killed(app: Served, client: Client, confirmed: list[str], rng: random.Random, out: Tried, with_worker: bool) -> None:
    refused: list[str] = []
    page = threading.Thread(target=client.stream, args=(len(confirmed) + rng.randrange(10**6), confirmed, refused))
    page.start()
    time.sleep(rng.uniform(0.0, LONGEST_S))
    if with_worker:
        for worker in workers_of(app.process.pid):
            with suppress(ProcessLookupError):
                os.kill(worker, signal.SIGKILL)
        time.sleep(rng.uniform(0.0, LONGEST_S))
        if app.process.poll() is not None:
            out.fault(RuntimeError("the server ended with its worker"))
    workers = workers_of(app.process.pid)
    app.kill()
    page.join(30)
    for answer in refused:
        out.fault(RuntimeError(f"an edit was refused: {answer}"))
    load_job(app.folder)  # a half-written file would be refused
    for line in (app.folder / JOURNAL_FILE).read_bytes().splitlines()[:-1] if confirmed else ():
        json.loads(line)
    end = time.monotonic() + ORPHAN_S
    while any(_runs(w, b"spawn_main") for w in workers) and time.monotonic() < end:
        time.sleep(0.05)
    for worker in (w for w in workers if _runs(w, b"spawn_main")):
        out.fault(RuntimeError(f"worker {worker} goes on"))
