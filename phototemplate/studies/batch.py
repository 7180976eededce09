"""Many jobs at once: on this machine's cores, or on a Dask cluster. One bad job never stops the rest; a restart goes on.

What to do with one job is a function of the caller (picklable: a function of a module); here is only the running of many.
A job that finished is not run again until its job file or a photo changes: its fingerprint is kept in its results folder.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import sys
import threading
import time
from collections import Counter, deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ProcessPoolExecutor, wait
from dataclasses import dataclass, field
from functools import partial
from importlib import import_module
from multiprocessing import get_context
from pathlib import Path
from typing import Any, Literal

from phototemplate import __version__
from phototemplate.atomic import write_text_atomic
from phototemplate.errors import InputError, InstallationError, JobBusyError, PhototemplateError
from phototemplate.numerics.blas_threads import one_thread
from phototemplate.output.csv import write_rows_csv
from phototemplate.stored_folder import StoredFolder, opened
from phototemplate.studies.constants import BUSY_S, CONNECT_S, COUNT_EVERY_S, RESTART_S, TRIES, WATCH_S

STAMP = "results/batch.json"
CSV_COLUMNS = ("job", "state", "seconds", "edges", "largest_U_mm", "findings", "message")
State = Literal["done", "skipped", "failed", "busy"]
"""``busy``: another program measures it; no outcome of a batch"""
Place = Path | StoredFolder
"""A job folder on a disk that every worker sees, or on object storage"""
OneJob = Callable[[Path], Mapping[str, Any]]
"""Does everything for one job folder and returns a few plain values for the table"""


@dataclass(frozen=True)
class Outcome:
    """What became of one job."""

    job: Place
    state: State
    seconds: float = 0.0
    message: str = ""
    """Why it failed, one sentence"""
    values: Mapping[str, Any] | None = None


def fingerprint(job: Place) -> str:
    """Changes when the job file, a photo (name, size, time) or the program's version changes."""
    text = [__version__]
    if not isinstance(job, Path):
        return f"{job.fingerprint()} {__version__}"
    for path in sorted(p for p in job.rglob("*") if p.is_file() and not _made(p.relative_to(job).parts[0])):
        status = path.stat()
        text.append(f"{path.relative_to(job)} {status.st_size} {status.st_mtime_ns}")
    return hashlib.sha256("\n".join(text).encode()).hexdigest()[:24]


def _made(name: str) -> bool:
    """Whether what has this name in a job folder was made by the program: results, locks, what is written aside."""
    return name == "results" or name.startswith(".")


def finished(job: Place) -> Mapping[str, Any] | None:
    """The values of an earlier run that still holds, else None."""
    try:
        stamp = json.loads((job / STAMP).read_bytes() if isinstance(job, Path) else job.read(STAMP))
        return stamp["values"] if stamp["fingerprint"] == fingerprint(job) else None
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return None


def run_one(job: Place, work: OneJob, again: bool = False) -> Outcome:
    """One job in this process; whatever goes wrong becomes an outcome. ``again``: finished or not."""
    began = time.perf_counter()

    def outcome(state: State, message: str = "", values: Mapping[str, Any] | None = None) -> Outcome:
        return Outcome(job, state, time.perf_counter() - began, message, values)

    try:
        if not again and (made := finished(job)) is not None:
            return outcome("skipped", "", made)
        before = fingerprint(job)
        with opened(job) as folder:
            values = dict(work(folder))
            (folder / STAMP).parent.mkdir(exist_ok=True)
            write_text_atomic(folder / STAMP, json.dumps({"fingerprint": before, "values": values}, indent=1))
        return outcome("done", "", values)
    except JobBusyError as exc:
        return outcome("busy", str(exc))
    except PhototemplateError as exc:
        return outcome("failed", str(exc))
    except MemoryError:
        return outcome("failed", "The machine ran out of memory; run fewer jobs at once.")
    except Exception as exc:  # a fault of this program in one job must not cost the others
        return outcome("failed", f"Fault of the program: {type(exc).__name__}: {exc}")


def run_batch(
    jobs: Sequence[Place], work: OneJob, workers: int = 0, scheduler: str | None = None, again: bool = False
) -> Iterator[Outcome]:
    """Outcomes as they come. ``workers`` 0: one per core; ``scheduler``: address of a Dask scheduler that sees the same
    folders; ``again``: run finished jobs too.

    A job that another program is measuring is left to it and looked at again when the others are done; one that a worker died
    with is run again, up to ``TRIES`` times in all. Raises ``InputError`` where there is no job at all or no scheduler
    answers, ``InstallationError`` where dask.distributed is missing.
    """
    if not jobs:
        raise InputError("No job folder was given; name the folders, for example jobs/*.")
    waiting: deque[Place] = deque()
    for job in dict.fromkeys(p.resolve() if isinstance(p, Path) else p for p in jobs):
        # whether one on object storage is finished its worker asks, many at once
        values = None if again or not isinstance(job, Path) or not job.is_dir() else finished(job)
        if values is not None:
            yield Outcome(job, "skipped", 0.0, "", values)
        else:
            waiting.append(job)
    if not waiting:
        return
    crew = _Here(min(workers or os.cpu_count() or 1, len(waiting))) if scheduler is None else _Cluster(scheduler)
    try:
        yield from _all(waiting, partial(run_one, work=work, again=again), crew)
    finally:  # also where whoever takes the outcomes is interrupted: what has not begun does not begin any more
        crew.end()


def _all(waiting: deque[Place], one: Callable[[Place], Outcome], crew: _Here | _Cluster) -> Iterator[Outcome]:
    """Only a few jobs are handed out at a time: memory stays flat, and a dead worker takes few with it."""
    flying: dict[Future[Outcome], tuple[Place, Executor]] = {}
    suspect: deque[Place] = deque()
    busy: deque[Place] = deque()
    tries: Counter[Place] = Counter()
    while waiting or suspect or busy or flying:
        if not (waiting or suspect or flying):  # what is left is measured by others
            time.sleep(BUSY_S)
            waiting, busy = busy, deque()
        # jobs that were out when a worker died run one at a time, so that the one that kills its worker is known
        queue, most = (suspect, 1) if suspect else (waiting, crew.width())
        while queue and len(flying) < most:
            try:
                flying[crew.pool.submit(one, queue[0])] = queue[0], crew.pool
            except (RuntimeError, OSError):  # it broke since it was last looked at
                crew.mend()
                continue
            tries[queue.popleft()] += 1
        for future in wait(flying, return_when=FIRST_COMPLETED).done:
            job, pool = flying.pop(future)
            try:
                outcome = future.result()
            except Exception as exc:  # the worker died, or the whole cluster did
                if pool is crew.pool:
                    crew.mend()
                if tries[job] < TRIES:
                    suspect.append(job)
                else:
                    yield Outcome(job, "failed", 0.0, f"Its process was ended, most likely for want of memory ({exc}).")
                continue
            if outcome.state == "busy":
                busy.append(job)
                tries[job] -= 1
            else:
                yield outcome


class _Here:
    """Processes of this machine."""

    def __init__(self, workers: int) -> None:
        self.workers = workers
        one_thread()  # the jobs share the cores, not the loops within one
        self._start()

    def _start(self) -> None:
        self.pool = ProcessPoolExecutor(
            self.workers, mp_context=get_context("spawn"), initializer=_end_with, initargs=(os.getpid(),)
        )

    def width(self) -> int:
        """Jobs handed out at once: one per worker, and the next one so that none waits."""
        return self.workers + 1

    def mend(self) -> None:
        """A pool is of no use any more once one of its processes has died."""
        self.end()
        self._start()

    def end(self) -> None:
        """Wait for what runs; nothing else begins."""
        self.pool.shutdown(wait=True, cancel_futures=True)


def _end_with(parent: int) -> None:
    """Let a worker end when the batch has ended, however that came about: nobody would take its results any more."""

    def watch() -> None:
        while os.getppid() == parent:
            time.sleep(WATCH_S)
        os._exit(1)

    if sys.platform != "win32":  # there the parent's id stays when the parent has gone
        threading.Thread(target=watch, daemon=True).start()


class _Cluster:
    """Workers of a Dask scheduler, which may be started anew in between."""

    def __init__(self, scheduler: str) -> None:
        try:
            self._distributed: Any = import_module("distributed")  # untyped, and only there with the extra [cluster]
        except ImportError as exc:
            raise InstallationError(
                "Running on a cluster needs dask.distributed; install it with: pip install 'phototemplate[cluster]'."
            ) from exc
        self._address, self._width, self._counted = scheduler, 1, -COUNT_EVERY_S
        self._connect(CONNECT_S)

    def _connect(self, patience_s: float) -> None:
        end = time.monotonic() + patience_s
        while True:
            try:
                self._client = self._distributed.Client(self._address, timeout=CONNECT_S)
                break
            except (OSError, ValueError, TimeoutError) as exc:
                if time.monotonic() > end:
                    raise InputError(
                        f"No Dask scheduler answers at {self._address} ({exc}); check the address, such as tcp://host:8786."
                    ) from exc
                time.sleep(BUSY_S)
        self.pool: Executor = self._client.get_executor(pure=False, retries=0)

    def width(self) -> int:
        """Two jobs for every thread there is: workers come and go."""
        if time.monotonic() > self._counted + COUNT_EVERY_S:
            with contextlib.suppress(OSError):
                self._width = max(1, 2 * sum(self._client.nthreads().values()))
            self._counted = time.monotonic()
        return self._width

    def mend(self) -> None:
        """Wait for a scheduler that was started anew; a worker that died is Dask's own business."""
        try:
            self._client.nthreads()
        except (OSError, TypeError, ValueError, RuntimeError):
            self._client.close(timeout=1)
            self._connect(RESTART_S)

    def end(self) -> None:
        """What has not begun does not begin any more."""
        self._client.close()


@dataclass
class Pace:
    """How a batch is getting on."""

    count: int
    """Jobs in all"""
    ended: int = 0
    worked: int = 0
    """Of them those that were not finished before"""
    began: float = field(default_factory=lambda: time.monotonic())

    def heed(self, outcome: Outcome) -> None:
        """One more has ended."""
        self.ended += 1
        self.worked += outcome.state != "skipped"

    def words(self) -> str:
        """Count, jobs a minute and the time left."""
        minutes = (time.monotonic() - self.began) / 60
        if not self.worked or not minutes:
            return f"{self.ended} of {self.count}"
        rate = self.worked / minutes
        left = (self.count - self.ended) / rate
        return f"{self.ended} of {self.count}, {rate:.3g} a minute, {left:.0f} min left" if left >= 1 else (
            f"{self.ended} of {self.count}, {rate:.3g} a minute, {60 * left:.0f} s left")  # fmt: skip


def write_table(outcomes: Sequence[Outcome], path: Path) -> Path:
    """Results and failures in one table."""
    rows = []
    for o in sorted(outcomes, key=lambda o: str(o.job)):
        v = o.values or {}
        shown = (v.get(name, "") for name in ("edges", "largest_U_mm", "findings"))
        rows.append((str(o.job), o.state, f"{o.seconds:.1f}", *shown, o.message))
    return write_rows_csv(path, CSV_COLUMNS, rows)
