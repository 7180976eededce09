"""Many jobs at once: on this machine's cores, or on a Dask cluster. One bad job never stops the rest; a restart goes on.

What to do with one job is a function of the caller (picklable: a function of a module); here is only the running of many.
A job that finished is not run again until its job file or a photo changes: its fingerprint is kept in its results folder.
"""

from __future__ import annotations

import hashlib
import json
import os
import sys
import threading
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Executor, Future, ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from importlib import import_module
from multiprocessing import get_context
from pathlib import Path
from typing import Any, Literal

from phototemplate import __version__
from phototemplate.atomic import write_text_atomic
from phototemplate.errors import InputError, InstallationError, PhototemplateError
from phototemplate.output.csv import write_rows_csv
from phototemplate.studies.constants import WATCH_S

STAMP = "batch.json"
CSV_COLUMNS = ("job", "state", "seconds", "edges", "largest_U_mm", "findings", "message")
State = Literal["done", "skipped", "failed"]
OneJob = Callable[[Path], Mapping[str, Any]]
"""Does everything for one job folder and returns a few plain values for the table"""


@dataclass(frozen=True)
class Outcome:
    """What became of one job."""

    job: Path
    state: State
    seconds: float = 0.0
    message: str = ""
    """Why it failed, one sentence"""
    values: Mapping[str, Any] | None = None


def fingerprint(job: Path) -> str:
    """Changes when the job file, a photo (name, size, time) or the program's version changes."""
    text = [__version__]
    for path in sorted(p for p in job.rglob("*") if p.is_file() and not _made(p.relative_to(job).parts[0])):
        status = path.stat()
        text.append(f"{path.relative_to(job)} {status.st_size} {status.st_mtime_ns}")
    return hashlib.sha256("\n".join(text).encode()).hexdigest()[:24]


def _made(name: str) -> bool:
    """Whether what has this name in a job folder was made by the program: results, locks, what is written aside."""
    return name == "results" or name.startswith(".")


def finished(job: Path) -> Mapping[str, Any] | None:
    """The values of an earlier run that still holds, else None."""
    try:
        stamp = json.loads((job / "results" / STAMP).read_text(encoding="utf-8"))
        return stamp["values"] if stamp["fingerprint"] == fingerprint(job) else None
    except (OSError, ValueError, KeyError, TypeError):
        return None


def run_one(job: Path, work: OneJob) -> Outcome:
    """One job in this process; whatever goes wrong becomes an outcome."""
    began = time.perf_counter()
    try:
        before = fingerprint(job)
        values = dict(work(job))
        (job / "results").mkdir(exist_ok=True)
        write_text_atomic(job / "results" / STAMP, json.dumps({"fingerprint": before, "values": values}, indent=1))
        return Outcome(job, "done", time.perf_counter() - began, "", values)
    except PhototemplateError as exc:
        return Outcome(job, "failed", time.perf_counter() - began, str(exc))
    except MemoryError:
        return Outcome(job, "failed", time.perf_counter() - began, "The machine ran out of memory; run fewer jobs at once.")
    except Exception as exc:  # a fault of this program in one job must not cost the others
        return Outcome(job, "failed", time.perf_counter() - began, f"Fault of the program: {type(exc).__name__}: {exc}")


def run_batch(
    jobs: Sequence[Path], work: OneJob, workers: int = 0, scheduler: str | None = None, again: bool = False
) -> Iterator[Outcome]:
    """Outcomes as they come. ``workers`` 0: one per core; ``scheduler``: address of a Dask scheduler that sees the same
    folders; ``again``: run finished jobs too.

    Raises ``InputError`` where there is no job at all, ``InstallationError`` where dask.distributed is missing.
    """
    if not jobs:
        raise InputError("No job folder was given; name the folders, for example jobs/*.")
    jobs = list(dict.fromkeys(p.resolve() for p in jobs))
    waiting = []
    for job in jobs:
        values = None if again or not job.is_dir() else finished(job)
        if values is not None:
            yield Outcome(job, "skipped", 0.0, "", values)
        else:
            waiting.append(job)
    if not waiting:
        return
    if scheduler is not None:
        yield from _on_cluster(waiting, work, scheduler)
    else:
        yield from _here(waiting, work, workers or os.cpu_count() or 1)


def _pool(workers: int) -> Executor:
    os.environ.setdefault("OMP_NUM_THREADS", "1")  # the jobs share the cores, not the loops within one
    return ProcessPoolExecutor(workers, mp_context=get_context("spawn"), initializer=_end_with, initargs=(os.getpid(),))


def _end_with(parent: int) -> None:
    """Let a worker end when the batch has ended, however that came about: nobody would take its results any more."""

    def watch() -> None:
        while os.getppid() == parent:
            time.sleep(WATCH_S)
        os._exit(1)

    if sys.platform != "win32":  # there the parent's id stays when the parent has gone
        threading.Thread(target=watch, daemon=True).start()


def _here(jobs: Sequence[Path], work: OneJob, workers: int) -> Iterator[Outcome]:
    """A worker that dies (killed, out of memory) takes the pool with it; those jobs are run again, each alone."""
    alone: list[Path] = []
    pool = _pool(min(workers, len(jobs)))
    try:
        futures: dict[Future[Outcome], Path] = {pool.submit(run_one, job, work): job for job in jobs}
        for future in as_completed(futures):
            try:
                yield future.result()
            except BrokenProcessPool:
                alone.append(futures[future])
    finally:  # also where whoever takes the outcomes is interrupted: what has not begun does not begin any more
        pool.shutdown(wait=True, cancel_futures=True)
    for job in alone:
        with _pool(1) as pool:
            try:
                yield pool.submit(run_one, job, work).result()
            except BrokenProcessPool:
                yield Outcome(job, "failed", 0.0, "Its process was ended by the system, most likely for want of memory.")


def _on_cluster(jobs: Sequence[Path], work: OneJob, scheduler: str) -> Iterator[Outcome]:
    try:
        distributed: Any = import_module("distributed")  # untyped, and only there with the extra [cluster]
    except ImportError as exc:
        raise InstallationError(
            "Running on a cluster needs dask.distributed; install it with: pip install 'phototemplate[cluster]'."
        ) from exc
    try:
        client = distributed.Client(scheduler, timeout="10s")
    except (OSError, ValueError, TimeoutError) as exc:
        raise InputError(
            f"No Dask scheduler answers at {scheduler} ({exc}); check the address, such as tcp://host:8786."
        ) from exc
    with client:
        futures = {client.submit(run_one, job, work, pure=False): job for job in jobs}
        for future in distributed.as_completed(futures):
            try:
                yield future.result()
            except Exception as exc:  # a lost worker; the others go on
                yield Outcome(futures[future], "failed", 0.0, f"Lost on the cluster: {type(exc).__name__}: {exc}")


def write_table(outcomes: Sequence[Outcome], path: Path) -> Path:
    """Results and failures in one table."""
    rows = []
    for o in sorted(outcomes, key=lambda o: str(o.job)):
        v = o.values or {}
        shown = (v.get(name, "") for name in ("edges", "largest_U_mm", "findings"))
        rows.append((str(o.job), o.state, f"{o.seconds:.1f}", *shown, o.message))
    return write_rows_csv(path, CSV_COLUMNS, rows)
