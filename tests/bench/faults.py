"""Damaged and hostile files, and programs killed while they write: nothing but a sentence, nothing lost, nothing mixed.

Files of every kind that the program reads are damaged at random (bytes changed, cut, repeated; numbers replaced by hostile
ones; lines lost and doubled) and read. Writers of a set of results are killed at a random moment.
"""

from __future__ import annotations

import json
import os
import random
import re
import signal
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from phototemplate.camera_profiles import read_profile, shipped_folder
from phototemplate.capture.photos import read_gray, read_meta
from phototemplate.demo import DEMO_FOLDER
from phototemplate.errors import PhototemplateError
from phototemplate.job import load_job, parse_job
from phototemplate.output.result_json import write_result_json
from phototemplate.output.result_reader import read_result
from phototemplate.result_set import inputs_of, new_set, read_set, recover, working_on
from phototemplate.studies.price_list import read_price_list
from phototemplate.studies.references import read_dxf
from phototemplate.web.journal import Journal
from tests.bench import BenchResult
from tests.output.samples import measurement

INPUTS, KILLS, HANG_S = 10_000, 300, 30.0
NUMBERS = (b"nan", b"inf", b"-inf", b"1e300", b"-1e300", b"1e-300", b"0", b"-1", b"true", b"9" * 400, b"[]", b"{}", b"null")
PRICES = b'currency = "USD"\nminimum = 900\ntax_percent = 8.25\n[area]\ngranite = 68\n[edge]\neased = 9\n[seam]\neach = 120\n'
HISTORY = b"".join(
    json.dumps({"n": n, "kind": "do", "from": "x", "label": {}, "changes": [["name", None, "a", "b", None]]}).encode() + b"\n"
    for n in range(1, 6)
)


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


def _kinds(folder: Path) -> dict[str, tuple[bytes, str, Callable[[Path], Any]]]:
    """Kind -> a good file, its name, and who reads it."""
    from phototemplate.output import Material, write_formats

    m = measurement()
    write_result_json(m, folder / "result.json")

    write_formats(Material(m), folder, ("dxf",))
    picture = np.random.default_rng(0).integers(0, 255, (60, 80, 3), np.uint8)
    for ending in ("jpg", "png", "tif"):
        Image.fromarray(picture).save(folder / f"a.{ending}")
    profile = min(shipped_folder().glob("*.json"))
    return {
        "job": ((DEMO_FOLDER / "job.toml").read_bytes(), "job.toml", lambda p: parse_job(p.read_bytes(), p.name)),
        "profile": (profile.read_bytes(), "lens.json", read_profile),
        "prices": (PRICES, "prices.toml", read_price_list),
        "result": ((folder / "result.json").read_bytes(), "result.json", read_result),
        "reference DXF": ((folder / "outline.dxf").read_bytes(), "wall.dxf", read_dxf),
        "history": (HISTORY, "history.jsonl", lambda p: Journal(p.parent, "y")),
        **{f"photo {e}": ((folder / f"a.{e}").read_bytes(), f"b.{e}", _photo) for e in ("jpg", "png", "tif")},
    }


def _raise(*_: object) -> None:
    raise TimeoutError("hangs")


def read_damaged(tries: int, seed: int, folder: Path) -> list[dict[str, Any]]:
    """Rows: kind, tried, read, refused, failed (with the first fault), slowest."""
    rng, rows = random.Random(seed), []
    kinds = _kinds(folder)
    signal.signal(signal.SIGALRM, _raise)
    for kind, (good, name, reader) in kinds.items():
        row: dict[str, Any] = {"kind": kind, "tried": 0, "read": 0, "refused": 0, "failed": 0, "slowest s": 0.0, "first": ""}
        path = folder / name
        path.write_bytes(good)
        reader(path)  # undamaged it is read
        for _ in range(tries // len(kinds) + 1):
            path.write_bytes(mutated(good, rng))
            began = time.perf_counter()
            signal.setitimer(signal.ITIMER_REAL, HANG_S)
            try:
                reader(path)
                row["read"] += 1
            except PhototemplateError:
                row["refused"] += 1
            except Exception as exc:
                row["failed"] += 1
                row["first"] = row["first"] or f"{type(exc).__name__}: {exc}"[:100]
                (folder / f"failed-{kind}-{row['failed']}").write_bytes(path.read_bytes())
            finally:
                signal.setitimer(signal.ITIMER_REAL, 0)
            row["tried"] += 1
            row["slowest s"] = round(max(row["slowest s"], time.perf_counter() - began), 2)
            path.unlink()
        rows.append(row)
    return rows


def killed_writers(kills: int, seed: int, folder: Path) -> dict[str, Any]:
    """Writers of sets killed after a random time; afterwards the set that is there is one of theirs, whole."""
    rng = random.Random(seed)
    (folder / "photos").mkdir()
    (folder / "job.toml").write_text('name = "k"\n')
    job = load_job(folder)
    files = [f"f{k}.txt" for k in range(8)]

    def write(text: str) -> None:
        with working_on(job), new_set(job, inputs_of(job), frozenset()) as aside:
            for name in files:
                (aside / name).write_text(text * 2000)

    write("0")
    mixed = lost = 0
    for k in range(1, kills + 1):
        child = os.fork()
        if not child:
            write(str(k))
            os._exit(0)
        time.sleep(rng.uniform(0, 0.012))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        recover(folder)
        found = read_set(job.results)
        texts = {(job.results / name).read_text() for name in files if (job.results / name).exists()}
        mixed += len(texts) != 1
        lost += found is None or len(found.paths()) != len(files)
    return {"kind": "writers killed", "tried": kills, "failed": mixed + lost, "mixed": mixed, "lost": lost}


def run(quick: bool) -> BenchResult:
    """A tenth of the inputs and kills where ``quick``."""
    share = 10 if quick else 1
    seed = int(time.time())
    result = BenchResult(f"Faults (seed {seed}): damaged files read, writers killed")
    with tempfile.TemporaryDirectory() as one, tempfile.TemporaryDirectory() as other:
        result.rows = read_damaged(INPUTS // share, seed, Path(one))
        kills = killed_writers(KILLS // share, seed, Path(other))
    tried = sum(r["tried"] for r in result.rows)
    failed = sum(r["failed"] for r in result.rows)
    slowest = max(r["slowest s"] for r in result.rows)
    result.rows.append(kills)
    result.target("inputs tried", f">= {INPUTS // share}", tried, tried >= INPUTS // share)
    result.target("tracebacks", "0", failed, failed == 0)
    result.target("slowest input in s", f"<= {HANG_S:g}", slowest, slowest <= HANG_S)
    result.target("kills", f">= {KILLS // share}", kills["tried"], kills["tried"] >= KILLS // share)
    result.target("sets mixed or lost", "0", kills["failed"], kills["failed"] == 0)
    return result
