"""Programs killed at a random moment, disks that refuse, a clock set back, two programs at once: nothing lost, nothing mixed.

What is killed is a copy of this process (fork), so that a kill can fall anywhere in the work and not only in the start.
"""

from __future__ import annotations

import asyncio
import errno
import io
import os
import random
import signal
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from functools import partial
from pathlib import Path
from typing import Any
from unittest import mock

from phototemplate import results
from phototemplate.demo import DEMO_FOLDER
from phototemplate.errors import InputError, PhototemplateError
from phototemplate.job import Job, load_job
from phototemplate.progress import quiet
from phototemplate.result_set import current_set, inputs_of, new_set, read_set, recover, working_on
from phototemplate.results import Wanted, measure_and_write
from phototemplate.studies.assessment import judge
from phototemplate.studies.batch import finished, run_batch
from phototemplate.web.job_document import JobDocument
from phototemplate.web.refusals import WorkerLost
from phototemplate.web.worker import Worker
from phototemplate.web.worker_tasks.finish import archive
from tests.output.samples import measurement

FILES = tuple(f"f{k}.txt" for k in range(8))
QUICK = Wanted(("result", "dxf", "csv"))


@dataclass
class Tried:
    """What became of the tries of one kind."""

    kind: str
    tried: int = 0
    faults: int = 0
    """Tracebacks"""
    mixed: int = 0
    lost: int = 0
    slowest_s: float = 0.0
    first: str = ""

    @property
    def failed(self) -> int:
        return self.faults + self.mixed + self.lost

    def fault(self, exc: BaseException, where: str = "") -> None:
        """Note what was not caught."""
        self.faults += 1
        self.first = self.first or f"{type(exc).__name__}: {exc} {where}"[:200]

    def cells(self) -> dict[str, Any]:
        """As a row of a table."""
        return asdict(self)


def a_job(folder: Path) -> Job:
    """A job folder whose photos nobody opens."""
    (folder / "photos").mkdir(parents=True)
    for name in ("a.jpg", "b.jpg"):
        (folder / "photos" / name).write_bytes(name.encode())
    (folder / "job.toml").write_text('name = "k"\n')
    return load_job(folder)


def _forked(work: Callable[[], object]) -> int:
    """Process number of a copy of this process that works and ends: 0 done, 2 refused, 1 anything else."""
    process = os.fork()
    if not process:
        code = 1
        try:
            work()
            code = 0
        except PhototemplateError:
            code = 2
        finally:
            os._exit(code)
    return process


@contextmanager
def child(work: Callable[[], object]) -> Iterator[int]:
    """A copy of this process that works; it is dead when the block ends, whether it was done or not."""
    process = _forked(work)
    try:
        yield process
    finally:
        os.kill(process, signal.SIGKILL)
        os.waitpid(process, 0)


@contextmanager
def measured() -> Iterator[None]:
    """Measuring and judging are done already: what is left of ``measure`` is reading the job and writing."""
    m = measurement()
    judged = judge(m, None, load_job(DEMO_FOLDER).file.tolerance)
    with mock.patch.multiple(results, measure_job=lambda *_: m, judge=lambda *_: judged, pictures=lambda *_: (None, None)):
        yield


def write_set(job: Job, text: str) -> None:
    """A set whose files all hold the same text."""
    with working_on(job), new_set(job, inputs_of(job), frozenset()) as aside:
        for name in FILES:
            (aside / name).write_text(text * 2000)


def _look(job: Job, out: Tried, files: int) -> None:
    """Whether what is there is one set, whole, and the present job's."""
    recover(job.folder)
    found = read_set(job.results)
    out.lost += found is None or len(found.paths()) != files or current_set(load_job(job.folder)) is None
    out.mixed += bool(list(job.folder.glob(".results-*")))


def killed_writers(kills: int, seed: int, folder: Path) -> Tried:
    """Writers of a set of small files: many kills fall into the swap."""
    rng, job, out = random.Random(seed), a_job(folder), Tried("writers killed", kills)
    write_set(job, "0")
    for k in range(1, kills + 1):
        with child(partial(write_set, job, str(k))):
            time.sleep(rng.uniform(0, 0.012))
        _look(job, out, len(FILES))
        out.mixed += len({(job.results / name).read_text() for name in FILES if (job.results / name).exists()}) != 1
    return out


def killed_commands(kills: int, seed: int, folder: Path) -> Tried:
    """``measure`` from the photos' digests to the last file, the measuring itself left out."""
    rng, job, out = random.Random(seed), a_job(folder), Tried("measure killed", kills)
    with measured():
        began = time.perf_counter()
        files = len(measure_and_write(job, QUICK).written)
        usual = time.perf_counter() - began
        for _ in range(kills):
            with child(lambda: measure_and_write(job, QUICK)):
                time.sleep(rng.uniform(0, 1.2 * usual))
            _look(job, out, files)
    return out


def _edit(folder: Path, name: str) -> None:
    """One edit as the page sends it, tried again where somebody else was first."""
    edge = {"id": name, "kind": "front", "photo": "a", "path": [[1, 2], [3, 4]]}
    while True:
        document = JobDocument(folder)
        try:
            asyncio.run(document.edit(document.job.revision, {}, [{"op": "add", "at": ["edges"], "value": edge}]))
            return
        except InputError as exc:
            if "conflict" not in str(exc):
                raise


def _edits(folder: Path, names: list[str], told: int) -> None:
    for name in names:
        _edit(folder, name)
        os.write(told, f"{name}\n".encode())  # what the page hears: from here on it may not be lost


def killed_servers(kills: int, seed: int, folder: Path) -> Tried:
    """The server's way of changing a job, killed between two acknowledgements or in the middle of a change."""
    rng, out = random.Random(seed), Tried("edits killed", kills)
    for k in range(kills):
        job = a_job(folder / str(k))
        hear, told = os.pipe()
        with child(partial(_edits, job.folder, [f"e{n}" for n in range(40)], told)):
            time.sleep(rng.uniform(0.0, 0.15))
        os.close(told)
        with os.fdopen(hear) as heard:
            acknowledged = heard.read().split()
        try:
            document = JobDocument(job.folder)
            have = [e.id for e in document.job.file.edges]
            out.lost += have[: len(acknowledged)] != acknowledged or len(have) > len(acknowledged) + 1
            if have:
                asyncio.run(document.step(document.job.revision, True))
                out.lost += [e.id for e in document.job.file.edges] != have[:-1]
        except Exception as exc:
            out.fault(exc)
    return out


def killed_workers(kills: int, seed: int) -> Tried:
    """The app's worker process, killed while it makes a document: the page is told, and the next one is made."""
    rng, out = random.Random(seed), Tried("workers killed", kills)

    async def all_of_them() -> None:
        worker = Worker()
        with tempfile.TemporaryDirectory() as folder:
            for _ in range(kills):
                began = time.perf_counter()
                asked = asyncio.ensure_future(worker.call("long", "sheets", folder=folder))
                await asyncio.sleep(rng.uniform(0.05, 1.0))
                if worker._process is not None and worker._process.pid is not None:
                    os.kill(worker._process.pid, signal.SIGKILL)
                try:
                    await asyncio.wait_for(asked, 60)
                except WorkerLost:
                    pass
                except Exception as exc:
                    out.fault(exc)
                out.slowest_s = round(max(out.slowest_s, time.perf_counter() - began), 2)
            out.lost += not Path((await worker.call("long", "sheets", folder=folder))["files"]["sheets"]).is_file()
        worker.close()

    asyncio.run(all_of_them())
    return out


def two_at_once(rounds: int, folder: Path) -> Tried:
    """Four writers of one set, and two programs that edit one job: one set, and every edit that was acknowledged."""
    out = Tried("programs at once")
    for k in range(rounds):
        job = a_job(folder / f"sets {k}")
        codes = _all_at_once([partial(write_set, job, str(n)) for n in range(4)])
        out.tried += 4
        out.faults += codes.count(1)
        out.lost += 0 not in codes
        _look(job, out, len(FILES))
        out.mixed += len({(job.results / name).read_text() for name in FILES}) != 1
        job = a_job(folder / f"edits {k}")
        names = [[f"{who}{n}" for n in range(6)] for who in "ab"]
        codes = _all_at_once([partial(_edits, job.folder, mine, os.open(os.devnull, os.O_WRONLY)) for mine in names])
        out.tried += 12
        out.faults += sum(code != 0 for code in codes)
        out.lost += {e.id for e in load_job(job.folder).file.edges} != {*names[0], *names[1]}
    return out


def _all_at_once(works: list[Callable[[], None]]) -> list[int]:
    """Exit codes of copies of this process that each do one of the works."""
    processes = [_forked(work) for work in works]
    return [os.waitstatus_to_exitcode(os.waitpid(p, 0)[1]) for p in processes]


# ------------------------------------------------------------------------------------------------ the disk


@contextmanager
def refusing(at: int, number: int) -> Iterator[list[int]]:
    """A disk that refuses from the ``at``-th change on with this error. What is given says how many changes there were."""
    count = [0]

    def counted(change: Callable[..., Any], writes: Callable[..., bool]) -> Callable[..., Any]:
        def changed(*arguments: Any, **more: Any) -> Any:
            if writes(*arguments, **more):
                count[0] += 1
                if count[0] >= at:
                    raise OSError(number, os.strerror(number), str(arguments[0]) if arguments else "")
            return change(*arguments, **more)

        return changed

    def always(*_: Any, **__: Any) -> bool:
        return True

    def for_writing(_: Any, mode: Any = "r", *__: Any, **___: Any) -> bool:
        return any(c in str(mode) for c in "wax+")

    def created(_: Any, flags: int = 0, *__: Any, **___: Any) -> bool:
        return bool(flags & os.O_CREAT)

    with mock.patch.multiple(os, fsync=counted(os.fsync, always), replace=counted(os.replace, always),
                             rename=counted(os.rename, always), mkdir=counted(os.mkdir, always), link=counted(os.link, always),
                             open=counted(os.open, created)), \
         mock.patch.object(io, "open", counted(io.open, for_writing)):  # fmt: skip
        yield count


def _edit_once(job: Job) -> None:
    document = JobDocument(job.folder)
    edge = {"id": "new", "kind": "front", "photo": "a", "path": [[1, 2], [3, 4]]}
    asyncio.run(document.edit(document.job.revision, {}, [{"op": "add", "at": ["edges"], "value": edge}]))


def refusing_disks(folder: Path) -> Tried:
    """Full, read-only, forbidden and broken, at every single change that writing a set, an edit or an archive makes."""
    out = Tried("disks that refuse")
    with measured():
        works: dict[str, Callable[[Job], object]] = {
            "set": lambda job: write_set(job, "1"), "measure": lambda job: measure_and_write(job, Wanted(("csv",))),
            "edit": _edit_once,
            "archive": lambda job: archive(None, quiet, str(job.folder), str(job.folder / "a.zip")),
        }
        for what, work in works.items():
            for number in (errno.ENOSPC, errno.EROFS, errno.EACCES, errno.EIO):
                at = 1
                while True:
                    job = a_job(folder / f"{what} {number} {at}")
                    write_set(job, "0")
                    before = (job.folder / "job.toml").read_bytes()
                    out.tried += 1
                    with refusing(at, number) as count:
                        try:
                            work(job)
                            went = True
                        except PhototemplateError:
                            went = False
                        except OSError as exc:  # becomes one sentence where command line and app catch it
                            went = False
                            if exc.errno != number:
                                out.fault(exc, what)
                        except Exception as exc:
                            went = False
                            out.fault(exc, f"{what}, change {at}")
                    if what in ("set", "measure"):
                        recover(job.folder)
                        found = read_set(job.results)
                        out.lost += found is None or not found.paths() or len(found.paths()) != len(found.files)
                    elif what == "edit" and not went:
                        changed = (job.folder / "job.toml").read_bytes() != before
                        out.lost += changed or bool(JobDocument(job.folder).journal.steps)
                    if count[0] < at:
                        break
                    at += 1
    return out


def clock_set_back(folder: Path) -> Tried:
    """Years before the photos were taken, and before any ZIP can say: edit, write, pack, look, undo."""
    out = Tried("clock set back")
    for now in (86_400.0, 946_684_800.0, 4_102_444_800.0):  # 1970, 2000 and 2100
        job = a_job(folder / f"{now:.0f}")
        out.tried += 1
        try:
            with mock.patch.object(time, "time", lambda now=now: now), \
                 mock.patch.object(time, "localtime", lambda *_, now=now: time.gmtime(now)):  # fmt: skip
                write_set(job, "0")
                out.lost += current_set(job) is None
                _edit_once(job)
                for path in job.folder.rglob("*"):
                    os.utime(path, (now, now))
                archive(None, quiet, str(job.folder), str(job.folder / "a.zip"))
                document = JobDocument(job.folder)
                asyncio.run(document.step(document.job.revision, True))
                out.lost += bool(document.job.file.edges)
        except Exception as exc:
            out.fault(exc)
    return out


# ------------------------------------------------------------------------------------------------ batches


def count_run(job: Path) -> dict[str, Any]:
    """A tiny job, which notes where somebody else runs it at the same time, or has finished it already."""
    with working_on(load_job(job)):
        try:
            os.close(os.open(job / ".running", os.O_CREAT | os.O_EXCL))
        except FileExistsError:
            (job / ".twice").touch()
        time.sleep(0.02)
        (job / ".running").unlink()
    return {"edges": 1}


def two_batches(jobs: int, folder: Path) -> Tried:
    """Two batches on the same folders, one worker each: every job measured, none by both at once."""
    out = Tried("batches at once", jobs)
    folders = [folder / str(k) for k in range(jobs)]
    for one in folders:
        a_job(one)

    def batch() -> None:
        list(run_batch(folders, count_run, workers=1))

    with child(batch):  # ended by a kill when the other one is done
        outcomes = list(run_batch(folders, count_run, workers=1))
    out.faults += sum(o.state == "failed" for o in outcomes)
    out.lost += sum(finished(one) is None for one in folders)
    out.mixed += sum((one / ".twice").exists() for one in folders)
    return out
