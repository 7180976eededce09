"""Requests that no page of the app sends: every route with bodies, addresses and headers made up by grammar.

The app runs in this process, and so do the tasks of its worker, on a measurement that is there already: what would be a
traceback in one of the two is seen as such.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any
from urllib.parse import quote

from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import seed as seeded
from hypothesis import strategies as st
from starlette.testclient import TestClient

from phototemplate.job import Job, load_job
from phototemplate.progress import quiet
from phototemplate.web.access import Keys
from phototemplate.web.app import build_app
from phototemplate.web.worker import Worker, _error
from phototemplate.web.worker_tasks.registry import WorkerMemory, error_of, task
from phototemplate.web.workspace import Workspace
from tests.bench._fault_inputs import Row
from tests.output.samples import measurement

HOST = "127.0.0.1:8000"
JOB = """name = "kitchen"
[[edges]]
id = "front"
kind = "front"
photo = "a"
path = [[1, 2], [3, 4]]
[[edges]]
id = "back"
kind = "wall"
photo = "a"
path = [[1, 2], [3, 4]]
[[loops]]
id = "run"
edges = ["front", "back"]
[[pieces]]
id = "left"
loop = "run"
"""
WORDS = (
    "front", "back", "run", "left", "edges", "loops", "pieces", "id", "name", "tolerance", "paper", "edge", "loop", "piece",
    "corner", "xy", "S01", "straight", "square:back", "Letter", "A4", "set", "../../etc/passwd", "1/16 in", "",
)  # fmt: skip
HOSTILE = st.one_of(
    st.none(), st.booleans(), st.integers(), st.integers(-2, 3), st.floats(),
    st.sampled_from((1e300, -1e300, 1e-300, 10**400)),
    st.sampled_from(WORDS), st.text(st.characters(codec=None), max_size=12), st.just("x" * 5000),
)
ANY = st.recursive(
    HOSTILE, lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.sampled_from(WORDS) | st.text(max_size=4), inner,
                                                                        max_size=4), max_leaves=12,
)
PLACE = st.lists(st.sampled_from(WORDS) | st.integers(-1, 2) | st.fixed_dictionaries({"id": ANY}) | HOSTILE, max_size=5)
OPERATION = st.fixed_dictionaries(
    {"op": st.sampled_from(("set", "add", "remove", "remove-edge", "rename")) | HOSTILE},
    optional={"at": PLACE | ANY, "value": ANY, "id": st.sampled_from(WORDS) | ANY, "to": st.sampled_from(WORDS) | ANY,
              "kind": st.sampled_from(("edge", "loop", "piece")) | ANY, "index": ANY},
)  # fmt: skip
PLACE_IN_PLAN = st.fixed_dictionaries({}, optional={
    "xy": st.lists(st.floats(-3000, 3000), min_size=2, max_size=2) | ANY, "edge": st.sampled_from(WORDS) | ANY,
    "loop": st.sampled_from(WORDS) | ANY, "corner": st.integers(-3, 9) | ANY,
}) | ANY  # fmt: skip
KEYED: Mapping[tuple[str, str], Mapping[str, st.SearchStrategy[Any]]] = {
    ("POST", "/api/edit"): {"operations": st.lists(OPERATION, max_size=4) | ANY, "label": ANY},
    ("POST", "/api/undo"): {}, ("POST", "/api/redo"): {}, ("POST", "/api/cancel"): {},
    ("POST", "/api/finish"): {}, ("POST", "/api/archive"): {}, ("POST", "/api/measure"): {},
    ("POST", "/api/ask/photos-showing"): {"xy": PLACE_IN_PLAN, "most": ANY},
    ("POST", "/api/ask/anchor"): {"path": st.lists(st.lists(st.floats(), max_size=3), max_size=4) | ANY},
    ("POST", "/api/ask/distance"): {"a": PLACE_IN_PLAN, "b": PLACE_IN_PLAN, "mm_per_px": ANY},
    ("POST", "/api/ask/estimate-choices"): {},
    ("POST", "/api/turn-down"): {"key": ANY}, ("POST", "/api/accept"): {"made": ANY},
    ("POST", "/api/jobs/open"): {"name": st.sampled_from(WORDS) | ANY}, ("POST", "/api/jobs/copy"): {"name": ANY},
    ("POST", "/api/jobs/archive"): {"name": ANY}, ("POST", "/api/jobs/else"): {"name": ANY},
    ("POST", "/api/make/sheets"): {"paper": ANY, "what": ANY, "print_scale": ANY},
    ("POST", "/api/make/plan"): {"runs": ANY, "depth": ANY, "sheets": ANY, "want": ANY, "bar": ANY, "paper": ANY},
    ("POST", "/api/make/calibrate"): {"keep": st.just(False), "name": ANY},
    ("POST", "/api/make/wall"): {"edge": ANY, "against": ANY, "gap": ANY, "corner": ANY},
    ("POST", "/api/make/estimate"): {"prices": ANY, "finish": ANY, "kerf": ANY, "turn": ANY},
}
"""Routes that take a JSON object, with the keys they know"""
RAW = (("PUT", "/api/photos?name="), ("PUT", "/api/drawing?name="), ("PUT", "/api/calibration?name="), ("GET", "/static/"),
       ("GET", "/download/"), ("GET", "/thumb/"), ("GET", "/picture/"), ("GET", "/tiles/top/a/"), ("GET", "/tiles/photo/a/b/"),
       ("GET", "/api/photos/a/"), ("GET", "/api/"), ("GET", "/open?key="))  # fmt: skip
"""Routes whose address or body is text of the client's"""


class _Inline(Worker):
    """Tasks done where they are asked for. What a process would have logged as a fault is kept."""

    def __init__(self, job: Job) -> None:
        super().__init__()
        self.memory = WorkerMemory()
        self.memory.measurement, self.memory.job = measurement(), replace(job, revision="an earlier one")
        self.faults: list[str] = []

    def start(self) -> None:
        """There is no process."""

    async def call(self, lane: Any, name: str, watch: Any = None, /, **arguments: Any) -> Any:
        try:
            return task(name)(self.memory, quiet, **arguments)
        except Exception as exc:
            packed = error_of(exc)
            if packed[1] == "bug":
                self.faults.append(f"{name}: {packed[2]['detail']}")
            raise _error(*packed) from exc


class Page:
    """A page of the app that sends what it likes."""

    def __init__(self, client: TestClient, workspace: Workspace, worker: _Inline) -> None:
        self.client, self.workspace, self.worker = client, workspace, worker

    def send(self, method: str, path: str, body: bytes) -> tuple[int, Any]:
        """Status and answer. Raises what the server did not catch, and ``RuntimeError`` for a fault in the worker."""
        answer = self.client.request(method, path, content=body)
        if self.worker.faults:
            raise RuntimeError(self.worker.faults.pop())
        kind = answer.headers.get("content-type", "")
        return answer.status_code, answer.json() if kind.startswith("application/json") else answer.text

    def ask(self, path: str, /, **body: Any) -> tuple[int, Any]:
        """The same with a JSON object; changes name the present revision unless told otherwise."""
        if path in ("/api/edit", "/api/undo", "/api/redo"):
            body = {"revision": self.workspace.opened.job.revision, **body}
        return self.send("POST", path, json.dumps(body).encode())

    def here(self) -> None:
        """The job is open again, whatever was asked before, and its tasks are done in this process."""
        if self.workspace.current is None or self.workspace.opened.folder.name != "kitchen":
            self.client.post("/api/jobs/open", json={"name": "kitchen"})
        opened = self.workspace.opened
        for part in (opened, opened.photo_table, opened.measuring):
            part.worker = self.worker


@contextmanager
def page(folder: Path) -> Iterator[Page]:
    """The app on a small job in ``folder``, and its page."""
    job = folder / "kitchen"
    (job / "photos").mkdir(parents=True)
    (job / "job.toml").write_text(JOB)
    keys, workspace, worker = Keys(), Workspace(folder, open_name=job.name), _Inline(load_job(job))
    workspace._worker = worker
    with TestClient(build_app(workspace, frozenset({HOST}), keys), base_url=f"http://{HOST}") as client:
        client.headers.update({"origin": f"http://{HOST}", "sec-fetch-site": "same-origin"})
        client.get(f"/open?key={keys.start}")
        made = Page(client, workspace, worker)
        made.here()
        yield made


def _body_of(fields: Mapping[str, st.SearchStrategy[Any]]) -> st.SearchStrategy[Any]:
    """The first field is always there: what is dear with every default is not asked for that way again and again."""
    first = dict(list(fields.items())[:1])
    return st.fixed_dictionaries(first, optional={k: v for k, v in fields.items() if k not in first}) | ANY


REQUEST = st.one_of(
    st.sampled_from(sorted(KEYED)).flatmap(lambda route: st.tuples(st.just(route), _body_of(KEYED[route]), st.just(b""))),
    st.tuples(
        st.sampled_from(RAW), st.text(max_size=20) | st.sampled_from(("../../../etc/passwd", "%2e%2e/", "a/0/0/0", "\0")),
        st.binary(max_size=40)
        | st.sampled_from((b"\xff\xd8\xff" + b"x" * 40, b"0\nSECTION\n", b"[" * 4000, b'{"a":1e999}')),
    ),
)  # fmt: skip


def requests(tries: int, seed: int, folder: Path) -> Row:
    """What became of ``tries`` requests."""
    row = Row("HTTP")
    with page(folder) as made:

        @seeded(seed)
        @settings(max_examples=tries, database=None, deadline=None, phases=[Phase.generate],
                  suppress_health_check=list(HealthCheck))  # fmt: skip
        @given(REQUEST)
        def one(wish: tuple[tuple[str, str], Any, bytes]) -> None:
            (method, path), body, data = wish
            made.here()
            if (method, path) in KEYED:
                if isinstance(body, dict) and path in ("/api/edit", "/api/undo", "/api/redo"):
                    body = {"revision": made.workspace.opened.job.revision, **body}
                data = json.dumps(body).encode()
            else:
                path += quote(str(body), safe="%/.")
            with row.trying(f"{method} {path} {data[:200]!r}") as note:
                note(made.send(method, path, data)[0] < 400)

        one()
    return row
