"""Files damaged at random: bytes changed, cut, repeated; numbers replaced by hostile ones; lines lost and doubled."""

from __future__ import annotations

import json
import random
import re
import signal
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np
from ezdxf.filemanagement import new
from PIL import Image

from phototemplate.camera_profiles import read_profile, shipped_folder
from phototemplate.capture.photos import read_gray, read_meta
from phototemplate.demo import DEMO_FOLDER
from phototemplate.errors import PhototemplateError
from phototemplate.job import load_job, parse_job
from phototemplate.output import Material, write_formats
from phototemplate.output.result_json import write_result_json
from phototemplate.output.result_reader import read_result
from phototemplate.progress import quiet
from phototemplate.result_set import current_set, inputs_of, new_set
from phototemplate.studies.batch import STAMP, finished
from phototemplate.studies.estimate_file import read_estimate_file
from phototemplate.studies.price_list import COMMENTED, read_price_list
from phototemplate.studies.quote_file import read_quote_file
from phototemplate.studies.references import read_dxf
from phototemplate.template.maker_dxf import read_cutout_dxf
from phototemplate.web.journal import Journal
from phototemplate.web.worker_tasks.finish import archive
from tests.output.samples import measurement
from tests.studies.test_quote import QUOTE

HANG_S = 30.0
NUMBERS = (b"nan", b"inf", b"-inf", b"1e300", b"-1e300", b"1e-300", b"0", b"-1", b"true", b"9" * 400, b"9" * 5000, b"[]", b"{}",
           b"null", b"[" * 2000)  # fmt: skip
HISTORY = b"".join(
    json.dumps({"n": n, "kind": "do", "from": "x", "label": {}, "changes": [["name", None, "a", "b", None]]}).encode() + b"\n"
    for n in range(1, 6)
)
ESTIMATE = """name = "kitchen"
[[photos]]
file = "a.jpg"
points = { fl = [100, 700], fr = [900, 720], br = [800, 300], bl = [200, 310] }
[[photos.known]]
kind = "A4"
corners = [[400, 500], [500, 500], [490, 440], [410, 440]]
[[lengths]]
from = "fl"
to = "fr"
value = "96 1/2 in"
[[runs]]
id = "run"
corners = ["fl", "fr", "br", "bl"]
edges = [{ id = "front", kind = "front" }, { id = "right", kind = "end" }, { id = "wall", kind = "wall" },
         { id = "left", kind = "wall" }]
"""


@dataclass
class Row:
    """What became of the tries of one kind."""

    kind: str
    tried: int = 0
    read: int = 0
    refused: int = 0
    failed: int = 0
    slowest_s: float = 0.0
    first: str = ""
    """The first fault"""

    @contextmanager
    def trying(self, what: str) -> Iterator[Callable[[bool], None]]:
        """One try, ended after ``HANG_S``, which may note whether it went through; a ``PhototemplateError`` is a refusal."""
        went: list[bool] = []
        began = time.perf_counter()
        signal.signal(signal.SIGALRM, _raise)
        signal.setitimer(signal.ITIMER_REAL, HANG_S)
        self.tried += 1
        try:
            yield went.append
            self.read += all(went)
            self.refused += not all(went)
        except PhototemplateError:
            self.refused += 1
        except Exception as exc:
            self.failed += 1
            self.first = self.first or f"{type(exc).__name__}: {exc}"[:160] + f" <- {what}"
        finally:
            signal.setitimer(signal.ITIMER_REAL, 0)
            self.slowest_s = round(max(self.slowest_s, time.perf_counter() - began), 2)

    def cells(self) -> dict[str, Any]:
        """As a row of a table."""
        return asdict(self)


def _raise(*_: object) -> None:
    raise TimeoutError("hangs")


def mutated(data: bytes, rng: random.Random) -> bytes:
    """The same with one to three faults."""
    for _ in range(rng.randint(1, 3)):
        at = rng.randrange(len(data) + 1)
        end = min(len(data), at + rng.choice((1, 1, 4, 40, 400)))
        kind = rng.randrange(6)
        if kind == 0:
            data = data[:at] + bytes(rng.randrange(256) for _ in range(end - at)) + data[end:]
        elif kind == 1:
            data = data[:at] + data[end:]
        elif kind == 2:
            data = data[:at]
        elif kind == 3:
            data = data[:at] + data[at:end] * 3 + data[end:]
        elif kind == 4:
            found = list(re.finditer(rb"-?\d+(\.\d+)?", data[:200_000]))
            if found:
                one = rng.choice(found)
                data = data[: one.start()] + rng.choice(NUMBERS) + data[one.end() :]
        else:
            lines = data.split(b"\n")
            k = rng.randrange(len(lines))
            data = b"\n".join(lines[:k] + rng.choice(([], [lines[k]] * 2)) + lines[k + 1 :])
    return data


def _photo(path: Path) -> None:
    read_gray(read_meta(path))


def _pack(path: Path) -> None:
    """What the app and the batch make of a job with a damaged file in it, and the archive of that job."""
    folder = path.parent if path.parent.name != "results" else path.parent.parent
    finished(folder)
    current_set(load_job(folder))
    Journal(folder, "y")
    archive(None, quiet, str(folder), str(folder / "job.zip"))


def kinds_of(folder: Path) -> dict[str, tuple[Path, Callable[[Path], Any]]]:
    """Kind -> a good file and who reads it, each in a place of its own below ``folder``."""
    m = measurement()
    job = folder / "job"
    (job / "photos").mkdir(parents=True)
    picture = np.random.default_rng(0).integers(0, 255, (60, 80, 3), np.uint8)
    for ending in ("jpg", "png", "tif"):
        Image.fromarray(picture).save(job / "photos" / f"a.{ending}")
    (job / "job.toml").write_bytes((DEMO_FOLDER / "job.toml").read_bytes())
    (job / "history.jsonl").write_bytes(HISTORY)
    with new_set(load_job(job), inputs_of(load_job(job)), frozenset()) as aside:
        write_result_json(m, aside / "result.json")
        write_formats(Material(m), aside, ("dxf",))
    (job / STAMP).write_text('{"fingerprint": "x", "values": {"edges": 3}}')
    bowl = folder / "bowl.dxf"
    document = new("R2010", units=4)
    document.modelspace().add_lwpolyline([(0, 0, 0.2), (700, 0, 0), (700, 400, 0), (0, 400, 0)], format="xyb", close=True)
    document.saveas(bowl)
    (folder / "prices.toml").write_text(COMMENTED, encoding="utf-8")
    (folder / "quote.toml").write_text(QUOTE, encoding="utf-8")
    (folder / "estimate.toml").write_text(ESTIMATE)
    profile = folder / "lens.json"
    profile.write_bytes(min(shipped_folder().glob("*.json")).read_bytes())
    return {
        "job": (job / "job.toml", lambda p: parse_job(p.read_bytes(), p.name)),
        "job in the app": (job / "job.toml", _pack),
        "manifest": (job / "results" / "manifest.json", _pack),
        "stamp of a batch": (job / STAMP, _pack),
        "history": (job / "history.jsonl", _pack),
        "profile": (profile, read_profile),
        "prices": (folder / "prices.toml", read_price_list),
        "quote": (folder / "quote.toml", read_quote_file),
        "estimate": (folder / "estimate.toml", read_estimate_file),
        "result": (job / "results" / "result.json", read_result),
        "reference DXF": (job / "results" / "outline.dxf", read_dxf),
        "maker's DXF": (bowl, read_cutout_dxf),
        **{f"photo {e}": (job / "photos" / f"a.{e}", _photo) for e in ("jpg", "png", "tif")},
    }


def read_damaged(tries: int, seed: int, folder: Path) -> list[Row]:
    """A row per kind. Inputs that failed are left in ``folder``."""
    rng, rows = random.Random(seed), []
    kinds = kinds_of(folder)
    for kind, (path, reader) in kinds.items():
        row, good = Row(kind), path.read_bytes()
        reader(path)  # undamaged it is read
        for _ in range(tries // len(kinds) + 1):
            path.write_bytes(data := mutated(good, rng))
            failed = row.failed
            with row.trying(f"failed-{kind}-{row.failed + 1}"):
                reader(path)
            if row.failed > failed:
                (folder / f"failed-{kind}-{row.failed}").write_bytes(data)
        path.write_bytes(good)
        rows.append(row)
    return rows

