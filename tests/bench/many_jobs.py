"""Many jobs through ``batch``: on this machine and on a Dask cluster, with workers and a scheduler that are killed.

Most of them only wait as long as measuring would take, so that what is timed is the running of many; some tens are measured
from photos, by the command itself. Ideal is the time of the jobs alone, shared among the workers.
"""

from __future__ import annotations

import csv
import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from contextlib import contextmanager, suppress
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from phototemplate.studies.batch import Outcome, finished, run_batch, write_table
from tests.bench import BenchResult
from tests.bench._fault_kills import a_job, count_run
from tests.web.kit import few_photos

JOBS, MEASURED = 1000, 60
IDEAL, FLAT_MB = 0.9, 50.0
SLEEP_S = 0.2
"""How long a tiny job takes"""
RIGHT_RUN = """format = 2
name = "right run"
[[lengths]]
kind = "tape"
from = "S13:B"
to = "S14:B"
value = "1500 mm"
u = "500 mm"
[[edges]]
id = "front-right"
kind = "front"
sheet = "S16"
path = [[-346.0, -302.0], [360.0, -326.0]]
[[edges]]
id = "panel-right"
kind = "panel"
source = "contact"
targets = ["S14", "S15"]
"""
"""Of four photos of the demo at half size. Whether its length is right does not matter here"""


def tiny(job: Path) -> dict[str, Any]:
    """A job that waits as long as measuring would take, and notes where two measure it at once."""
    values = count_run(job)
    time.sleep(SLEEP_S)
    return values


def fatal(job: Path) -> dict[str, Any]:
    """The same; the first worker that comes to every hundredth job is killed, as for want of memory."""
    mark = job / ".killed"
    if job.name.endswith("50") and not mark.exists():
        mark.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return tiny(job)


def _jobs(n: int, folder: Path) -> list[Path]:
    out = [folder / f"job-{k:04d}" for k in range(n)]
    for path in out:
        a_job(path)
    return out


def _kept(jobs: list[Path]) -> tuple[int, int]:
    """How many were lost, and how many were measured twice at once."""
    return sum(finished(j) is None for j in jobs), sum((j / ".twice").exists() for j in jobs)


def _row(what: str, jobs: list[Path], outcomes: list[Outcome], wall: float, workers: int, grown: float) -> dict[str, Any]:
    ideal = sum(o.seconds for o in outcomes) / workers
    lost, twice = _kept(jobs)
    return {"what": what, "n": len(jobs), "of": f"{workers} workers", "wall s": round(wall, 1),
            "share of ideal": round(ideal / wall, 3), "grown MB": round(grown, 1),
            "failed": sum(o.state == "failed" for o in outcomes), "lost": lost, "twice": twice}  # fmt: skip


def _resident_mb() -> float:
    with suppress(OSError), open("/proc/self/statm", encoding="ascii") as file:
        return int(file.read().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 1e6
    return 0.0


def local(n: int, work: Callable[[Path], dict[str, Any]], workers: int) -> dict[str, Any]:
    """``n`` tiny jobs on this machine, the table written as they end."""
    with tempfile.TemporaryDirectory() as place:
        jobs, outcomes = _jobs(n, Path(place)), []
        first, resident = 0.0, 0.0
        for outcome in run_batch(jobs, work, workers=workers):
            outcomes.append(outcome)
            first = first or time.perf_counter()  # processes start once, however many jobs there are
            if len(outcomes) == n // 10 + 1:
                resident = _resident_mb()
        wall = time.perf_counter() - first + SLEEP_S
        write_table(outcomes, Path(place) / "batch.csv")
        return _row(f"local, {work.__name__}", jobs, outcomes, wall, workers, _resident_mb() - resident)


@contextmanager
def _cluster(workers: int) -> Any:
    """A scheduler and its workers as programs of their own; gives the address, the port and the scheduler's starter."""
    import socket

    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    address = f"tcp://127.0.0.1:{port}"
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(p for p in sys.path if p)}
    quiet: Any = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "env": environment}

    def started(what: str, *more: str) -> subprocess.Popen[bytes]:
        command = [sys.executable, "-m", f"distributed.cli.dask_{what}", "--host", "127.0.0.1", "--no-dashboard", *more]
        return subprocess.Popen(command, **quiet)

    def scheduler() -> subprocess.Popen[bytes]:
        return started("scheduler", "--port", str(port))

    def worker() -> subprocess.Popen[bytes]:
        return started("worker", "--nthreads", "1", address)

    crew = [scheduler(), *(worker() for _ in range(workers))]
    over = threading.Event()

    def keep() -> None:
        """Workers end with their scheduler; whoever runs a cluster starts them anew."""
        while not over.wait(1.0):
            for k in range(1, len(crew)):
                if crew[k].poll() is not None:
                    crew[k] = worker()

    keeper = threading.Thread(target=keep)
    keeper.start()
    try:
        yield address, crew, scheduler
    finally:
        over.set()
        keeper.join()
        for process in reversed(crew):
            process.terminate()
        for process in crew:
            with suppress(subprocess.TimeoutExpired):
                process.wait(10)
            process.kill()


def on_cluster(n: int, workers: int, restart: bool) -> dict[str, Any]:
    """``n`` tiny jobs on a Dask cluster of this machine; ``restart``: its scheduler is killed half way and started anew."""
    with tempfile.TemporaryDirectory() as place, _cluster(workers) as (address, running, scheduler):
        jobs, outcomes, first, resident = _jobs(n, Path(place)), [], 0.0, 0.0

        def again() -> None:
            running[0].kill()
            running[0].wait()
            time.sleep(1)
            running[0] = scheduler()

        for outcome in run_batch(jobs, tiny, scheduler=address):
            outcomes.append(outcome)
            first = first or time.perf_counter()
            if len(outcomes) == n // 10 + 1:
                resident = _memory_of(running[0].pid)
            if restart and len(outcomes) == n // 2:
                threading.Thread(target=again).start()
        wall = time.perf_counter() - first + SLEEP_S
        grown = _memory_of(running[0].pid) - resident
        return _row("cluster, scheduler restarted" if restart else "cluster", jobs, outcomes, wall, workers, grown)


def _memory_of(process: int) -> float:
    with suppress(OSError), open(f"/proc/{process}/statm", encoding="ascii") as file:
        return int(file.read().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 1e6
    return 0.0


# ------------------------------------------------------------------------------------------------ measured ones


def through_the_command(n: int, workers: int) -> dict[str, Any]:
    """``n`` jobs of photos, measured by the command; the table is read while it runs."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        jobs = [folder / f"job-{k:03d}" for k in range(n)]
        few_photos(folder / "photos")
        for job in jobs:
            shutil.copytree(folder / "photos", job / "photos", copy_function=os.link)
            (job / "job.toml").write_text(RIGHT_RUN)
        command = [sys.executable, "-m", "phototemplate", "batch", *map(str, jobs), "--workers", str(workers)]
        with (folder / "said").open("w+", encoding="utf-8") as said:
            began = time.perf_counter()
            batch = subprocess.Popen([*command, "--table", str(folder / "batch.csv")], stdout=said, stderr=said)
            lengths = []
            while batch.poll() is None:
                time.sleep(0.5)
                with suppress(OSError):
                    lengths.append((folder / "batch.csv").read_bytes().count(b"\n"))
            wall = time.perf_counter() - began
            said.seek(0)
            told = re.findall(r"(\d+) of (\d+), ([\d.]+) a minute, (\d+) (?:min|s) left", said.read().replace("\n", " "))
        rows = list(csv.DictReader((folder / "batch.csv").open(encoding="utf-8", newline="")))
        outcomes = [Outcome(Path(r["job"]), r["state"], float(r["seconds"]), r["message"]) for r in rows]  # type: ignore[arg-type]
        row = _row("measured by the command", jobs, outcomes, wall, workers, 0.0)
        return {**row, "told": len(told), "table grew": len(set(lengths))}


def run(quick: bool) -> BenchResult:
    """``quick``: few of them."""
    result = BenchResult("Many jobs")
    n = 40 if quick else JOBS
    result.rows = [local(n, tiny, 2), local(max(n // 5, 60), fatal, 2)]
    if find_spec("distributed"):
        result.rows += [on_cluster(n, 2, False), on_cluster(max(n // 5, 30), 2, True)]
    result.rows.append(through_the_command(6 if quick else MEASURED, 2))
    for row in result.rows:
        if "tiny" in row["what"] or row["what"] in ("cluster", "measured by the command"):
            share = row["share of ideal"]
            result.target(f"{row['what']}: share of ideal", f">= {IDEAL:g}", share, share >= IDEAL)
            result.target(f"{row['what']}: memory grown", f"<= {FLAT_MB:g} MB", row["grown MB"], row["grown MB"] <= FLAT_MB)
        bad = row["failed"] + row["lost"] + row["twice"]
        result.target(f"{row['what']}: failed, lost, twice at once", "0", bad, bad == 0)
    told = result.rows[-1]["told"]
    result.target("jobs told with count, rate and time left", "all", told, told == result.rows[-1]["n"])
    return result
