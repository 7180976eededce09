"""Load: jobs that grow, one job near the floor of its decoding, and many jobs on local workers and on a cluster.

Times are processor seconds where one job is measured (other work on the machine does not change them) and wall seconds where
many share the machine. Every measured job runs in a process of its own, whose peak memory is its own too.
"""

from __future__ import annotations

import os
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from dataclasses import replace
from importlib.util import find_spec
from multiprocessing import get_context
from pathlib import Path
from typing import Any
from unittest import mock

from phototemplate.capture.photos import read_gray, read_meta
from phototemplate.capture.store import PhotoStore
from phototemplate.demo import DEMO_FOLDER
from phototemplate.job import JobFile, load_job
from phototemplate.network.adjustment import bundle
from phototemplate.network.adjustment.adjust import adjust
from phototemplate.results import measure_and_write, measure_job
from phototemplate.stage_cache import Memo
from phototemplate.stage_inputs import detect_all
from phototemplate.studies.batch import Outcome, finished, run_batch, write_table
from tests.bench import BenchResult
from tests.bench._big_jobs import big_job
from tests.bench._fault_kills import a_job, count_run

SIZES, EDGES, JOBS = (25, 50, 100, 200), (10, 20, 40), 1000
GROWTH, MOST_MB, ITERATION_S, ITERATION_UNKNOWNS, FLOOR, IDEAL, FLAT_MB = 1.2, 2000.0, 0.2, 1200, 2.0, 0.9, 50.0
SLEEP_S = 0.2
"""How long a tiny job takes"""


def _alone(work: Callable[..., dict[str, Any]], *arguments: Any) -> dict[str, Any]:
    """The row that ``work`` gives in a process of its own, with its processor time and peak memory where it says none."""
    with get_context("spawn").Pool(1) as pool:
        return pool.apply(_measured, (work, *arguments))


def _measured(work: Callable[..., dict[str, Any]], *arguments: Any) -> dict[str, Any]:
    began = time.process_time()
    row = work(*arguments)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return {"cpu s": round(time.process_time() - began, 2), **row,
            "peak MB": round(peak / (1e6 if sys.platform == "darwin" else 1e3))}  # fmt: skip


# ------------------------------------------------------------------------------------------------ jobs that grow


def photos_stage(n: int) -> dict[str, Any]:
    """``n`` photos of 12 MP to sightings: the demo's, again and again under other names; doubles are not looked for."""
    originals = sorted((DEMO_FOLDER / "photos").iterdir())
    with tempfile.TemporaryDirectory() as folder:
        paths = [Path(folder) / f"IMG_{k:04d}.jpg" for k in range(n)]
        for k, path in enumerate(paths):
            os.link(originals[k % len(originals)], path)
        began = time.process_time()
        store = PhotoStore([read_meta(p) for p in paths])
        with mock.patch("phototemplate.capture.quality.find_duplicates", return_value=([], frozenset())):
            seen, _ = detect_all(store, JobFile(), Memo())
    return {"what": "photos to sightings", "n": n, "of": len(seen), "cpu s": round(time.process_time() - began, 2)}


def adjustment(n: int) -> dict[str, Any]:
    """``n`` simulated photos of 60 sheets and 24 strips."""
    job = big_job(n)
    seconds: list[tuple[float, int]] = []
    original = bundle.solve

    def counted(*arguments: Any, **more: Any) -> Any:
        began = time.process_time()
        solution = original(*arguments, **more)
        seconds.append((time.process_time() - began, solution.iterations))
        return solution

    began = time.process_time()
    with mock.patch.object(bundle, "solve", counted):
        network = adjust(job.sightings, job.photos, job.targets, job.lengths)
    cpu, (spent, iterations) = time.process_time() - began, (sum(s) for s in zip(*seconds, strict=True))
    return {"what": "adjustment", "n": n, "of": network.influences.size, "cpu s": round(cpu, 2),
            "s an iteration": round(spent / max(iterations, 1), 3)}  # fmt: skip


def edges_stage(n: int) -> dict[str, Any]:
    """The demo with ``n`` edges: its own, again and again under other names."""
    with tempfile.TemporaryDirectory() as folder:
        shutil.copytree(DEMO_FOLDER, Path(folder) / "job")
        job = load_job(Path(folder) / "job")
        own = job.file.edges
        edges = [own[k % len(own)].model_copy(update={"id": f"{own[k % len(own)].id}-{k}"}) for k in range(n)]
        m = measure_job(replace(job, file=job.file.model_copy(update={"edges": edges, "loops": [], "pieces": []})))
    return {"what": "edges", "n": n, "of": len(m.outline.edges), "cpu s": round(m.seconds["edges"], 2)}


def _growth(rows: list[dict[str, Any]], result: BenchResult) -> None:
    least = rows[0]["cpu s"] / rows[0]["n"]
    for row in rows:
        row["times linear"] = round(row["cpu s"] / row["n"] / least, 2)
    worst, peak = max(r["times linear"] for r in rows), max(r["peak MB"] for r in rows)
    what = f"{rows[0]['what']}, {rows[0]['n']} to {rows[-1]['n']}"
    result.rows += rows
    result.target(f"{what}: time", f"<= {GROWTH:g} times linear", worst, worst <= GROWTH)
    result.target(f"{what}: memory", f"<= {MOST_MB:g} MB", peak, peak <= MOST_MB)


# ------------------------------------------------------------------------------------------------ near the floor


def floor() -> dict[str, Any]:
    """The demo's photos decoded, one plain pass for markers over each, on all cores; then the demo to all its files."""
    import cv2

    photos = sorted((DEMO_FOLDER / "photos").iterdir())
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_1000)

    def plain(path: Path) -> None:
        cv2.aruco.ArucoDetector(dictionary).detectMarkers(read_gray(read_meta(path)))

    wall, cpu = time.perf_counter(), time.process_time()
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        list(pool.map(plain, photos))
    wall, cpu = time.perf_counter() - wall, time.process_time() - cpu
    with tempfile.TemporaryDirectory() as folder:
        shutil.copytree(DEMO_FOLDER, Path(folder) / "job")
        job = load_job(Path(folder) / "job")
        wall_all, cpu_all = time.perf_counter(), time.process_time()
        outcome = measure_and_write(job)
        wall_all, cpu_all = time.perf_counter() - wall_all, time.process_time() - cpu_all
    stages = {**outcome.measurement.seconds, "files": wall_all - sum(outcome.measurement.seconds.values())}
    shares = ", ".join(f"{name} {100 * s / wall_all:.0f} %" for name, s in stages.items())
    return {"what": "12 photos to all files", "n": len(photos), "of": shares, "cpu s": round(cpu_all, 2),
            "floor cpu s": round(cpu, 2), "times floor (cpu)": round(cpu_all / cpu, 2),
            "times floor (wall)": round(wall_all / wall, 2)}  # fmt: skip


# ------------------------------------------------------------------------------------------------ many jobs


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


def run(quick: bool) -> BenchResult:
    """``quick``: small jobs, few of them."""
    result = BenchResult("Load: jobs that grow, one job near its floor, many jobs")
    photos, sizes, edges, n = ((6, 12), (25, 50), (5, 10), 40) if quick else (SIZES, SIZES, EDGES, JOBS)
    _growth([_alone(photos_stage, k) for k in photos], result)
    rows = [_alone(adjustment, k) for k in sizes]
    _growth(rows, result)
    near = min(rows, key=lambda r: abs(r["of"] - ITERATION_UNKNOWNS))
    result.target(f"an iteration with {near['of']} unknowns", f"<= {ITERATION_S:g} s", near["s an iteration"],
                  near["s an iteration"] <= ITERATION_S)  # fmt: skip
    _growth([_alone(edges_stage, k) for k in edges], result)
    row = _alone(floor)
    result.rows.append(row)
    result.target("12 photos to all files", f"<= {FLOOR:g} times the floor", row["times floor (wall)"],
                  row["times floor (wall)"] <= FLOOR)  # fmt: skip
    many = [local(n, tiny, 2), local(max(n // 5, 60), fatal, 2)]
    if find_spec("distributed"):
        many += [on_cluster(n, 2, False), on_cluster(max(n // 5, 30), 2, True)]
    result.rows += many
    for row in many:
        if "tiny" in row["what"] or row["what"] == "cluster":
            share = row["share of ideal"]
            result.target(f"{row['what']}: share of ideal", f">= {IDEAL:g}", share, share >= IDEAL)
            result.target(f"{row['what']}: memory grown", f"<= {FLAT_MB:g} MB", row["grown MB"], row["grown MB"] <= FLAT_MB)
        bad = row["failed"] + row["lost"] + row["twice"]
        result.target(f"{row['what']}: failed, lost, twice at once", "0", bad, bad == 0)
    return result
