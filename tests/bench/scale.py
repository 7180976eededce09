"""Load: jobs that grow, one job near the floor of its decoding, and many jobs (``many_jobs``).

Times are processor seconds, which other work on the machine does not change. Every measured job runs in a process of its own,
whose peak memory is its own too.
"""

from __future__ import annotations

import os
import resource
import shutil
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import replace
from multiprocessing import get_context
from pathlib import Path
from typing import Any
from unittest import mock

from phototemplate import results
from phototemplate.capture.photos import read_gray, read_meta
from phototemplate.capture.store import PhotoStore
from phototemplate.demo import DEMO_FOLDER
from phototemplate.job import JobFile, load_job
from phototemplate.network.adjustment import bundle
from phototemplate.network.adjustment.adjust import adjust
from phototemplate.output import formats
from phototemplate.results import measure_and_write, measure_job
from phototemplate.stage_cache import Memo
from phototemplate.stage_inputs import detect_all
from phototemplate.studies.assessment import judge
from tests.bench import BenchResult, many_jobs
from tests.bench._big_jobs import big_job

SIZES, EDGES = (25, 50, 100, 200), (10, 20, 40)
GROWTH, MOST_MB, ITERATION_S, ITERATION_UNKNOWNS, FLOOR = 1.2, 2000.0, 0.2, 1200, 2.0


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


@contextmanager
def _timed_files() -> Iterator[dict[str, float]]:
    """What each part of the files takes while the block runs, in wall seconds."""
    spent: dict[str, float] = {}

    def timed(name: str, work: Callable[..., Any]) -> Callable[..., Any]:
        def done(*arguments: Any, **more: Any) -> Any:
            began = time.perf_counter()
            try:
                return work(*arguments, **more)
            finally:
                spent[name] = spent.get(name, 0.0) + time.perf_counter() - began

        return done

    writers = tuple(replace(f, write=timed(f.name, f.write)) for f in formats.FORMATS)
    with mock.patch.object(formats, "FORMATS", writers), mock.patch.multiple(
        results, judge=timed("judging", judge), pictures=timed("pictures", results.pictures)
    ):
        yield spent


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
        with _timed_files() as files:
            outcome = measure_and_write(job)
        wall_all, cpu_all = time.perf_counter() - wall_all, time.process_time() - cpu_all
    stages = {**outcome.measurement.seconds, **files}
    stages["the rest"] = wall_all - sum(stages.values())
    shares = ", ".join(f"{name} {100 * s / wall_all:.0f} %" for name, s in stages.items() if s > 0.005 * wall_all)
    return {"what": "12 photos to all files", "n": len(photos), "of": shares, "cpu s": round(cpu_all, 2),
            "floor cpu s": round(cpu, 2), "times floor (cpu)": round(cpu_all / cpu, 2),
            "times floor (wall)": round(wall_all / wall, 2)}  # fmt: skip


def run(quick: bool) -> BenchResult:
    """``quick``: small jobs, few of them."""
    result = BenchResult("Load: jobs that grow, one job near its floor, many jobs")
    photos, sizes, edges = ((6, 12), (25, 50), (5, 10)) if quick else (SIZES, SIZES, EDGES)
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
    many = many_jobs.run(quick)
    result.rows += many.rows
    result.targets += many.targets
    return result
