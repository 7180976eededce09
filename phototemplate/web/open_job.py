"""One open job: its file, its photos, its result and the worker that computes, put together for the pages.

All methods run on the server's event loop; everything heavy is asked of the worker process.
"""

from __future__ import annotations

import asyncio
import contextlib
import re
from collections.abc import AsyncIterator, Coroutine
from pathlib import Path
from typing import Any

from phototemplate.atomic import write_bytes_atomic
from phototemplate.errors import PhototemplateError
from phototemplate.job import Job
from phototemplate.web.constants import DRAWING_LIMIT, WATCH_S
from phototemplate.web.events import Hub
from phototemplate.web.job_document import JobDocument
from phototemplate.web.journal import Journal
from phototemplate.web.photo_files import free_stem, stem_of
from phototemplate.web.photo_table import PhotoTable
from phototemplate.web.refusals import Refused
from phototemplate.web.remeasuring import Measuring
from phototemplate.web.worker import Worker

OF_THE_FOLDER = ("estimate-choices", "revisions")
"""Questions that need no measurement"""


class OpenJob:
    """The job behind the pages."""

    def __init__(self, folder: Path, hub: Hub | None = None) -> None:
        self.folder = folder
        self.hub = hub or Hub()
        self.worker = Worker()
        self.worker.on_restart = self._worker_anew
        self.document = JobDocument(folder, self._changed)
        self.photo_table = PhotoTable(
            lambda: self.document.job, self.worker, self.hub, self._spawn, lambda: self.measuring.wish()
        )
        self.measuring = Measuring(
            folder, self.photo_table, self.worker, self.hub, self._spawn, self._may_propose
        )
        self.files: dict[str, Path] = {}
        """What was written last, by name"""
        self.written: dict[str, Any] | None = None
        """The same for the page, with the revision of the job file it belongs to"""
        self._running: set[asyncio.Task[Any]] = set()

    @property
    def job(self) -> Job:
        """The job as it is now."""
        return self.document.job

    @property
    def journal(self) -> Journal:
        """The steps that led there."""
        return self.document.journal

    def _worker_anew(self) -> None:
        self.measuring.unready()
        self.hub.tell("worker", state="restarted")

    async def ask(self, what: str, /, **wishes: Any) -> Any:
        """A question that changes nothing: to the last measurement, or to the job's folder, which is there at once."""
        if what in OF_THE_FOLDER:
            wishes["job_folder"] = str(self.folder)
        else:
            await self.measuring.ready()
        return await self.worker.call("quick", what, **wishes)

    async def open(self) -> None:
        """Start the worker and whatever there is to do."""
        self._spawn(self.measuring.run())
        self._spawn(self._watch())
        self._spawn(self._begin())

    async def _begin(self) -> None:
        await asyncio.sleep(0)  # the first page is served before the worker is started
        self.photo_table.sweep()
        self.worker.start()
        self.photo_table.look_at_new()
        if self.photo_table.photos or self.job.file.drawn:
            self.measuring.wish()

    async def close(self) -> None:
        """End everything; nothing is lost, for every change is on disk already."""
        for task in list(self._running):
            task.cancel()
        self.worker.close()

    def _spawn(self, work: Coroutine[Any, Any, Any]) -> None:
        task = asyncio.get_running_loop().create_task(work)
        self._running.add(task)
        task.add_done_callback(self._running.discard)

    def _may_propose(self) -> bool:
        """Edges are looked for by themselves once it is said what lies under the sheets, and nobody has drawn one."""
        paper = self.job.file.paper
        return not self.job.file.edges and (paper.lies_on is not None or "thickness_mm" in paper.model_fields_set)

    def _changed(self) -> None:
        self.photo_table.list_again()
        self.hub.tell("job", revision=self.job.revision)
        self.measuring.wish(changed=True)

    async def _watch(self) -> None:
        """Notice a job file or photos changed by somebody else while a page is open."""
        while True:
            await asyncio.sleep(WATCH_S)
            if not self.hub.pages:
                continue
            with contextlib.suppress(OSError, PhototemplateError):
                self.document.reload()
                if not self.photo_table.arriving and self.photo_table.list_again():
                    self.hub.tell("photos")
                    self.photo_table.look_at_new()
                    self.measuring.wish()

    def facts(self) -> dict[str, Any]:
        """Everything a page needs to begin, but the result itself."""
        m = self.measuring
        return {
            **self.document.facts(),
            "photos": [p.facts() for p in self.photo_table.photos.values()],
            "result": m.number,
            "top": m.top,
            "trouble": m.trouble,
            "work": m.stage,
            "written": self.written,
            "proposals": m.proposals,
            "accepted": m.accepted,
        }

    async def edit(self, revision: str, label: dict[str, Any], operations: Any) -> dict[str, Any]:
        """See :meth:`phototemplate.web.job_document.JobDocument.edit`."""
        return await self.document.edit(revision, label, operations)

    async def step(self, revision: str, back: bool) -> dict[str, Any]:
        """See :meth:`phototemplate.web.job_document.JobDocument.step`."""
        return await self.document.step(revision, back)

    async def finish(self) -> dict[str, Any]:
        """Write every result; names of the files."""
        facts = await self.measuring.long("finish", job_folder=str(self.folder))
        self.files = {name: Path(path) for name, path in facts["files"].items()}
        self.written = {
            "files": listed(self.files),
            "unscaled": facts["unscaled"], "revision": facts["revision"], "trouble": facts["trouble"],
        }
        self.hub.tell("written", written=self.written)
        return self.written

    async def make(self, what: str, /, **wishes: Any) -> dict[str, Any]:
        """A page of a study of this job; the answer with its files by name."""
        facts: dict[str, Any] = await self.measuring.long(what, job_folder=str(self.folder), **wishes)
        self.files |= {name: Path(path) for name, path in facts["files"].items()}
        return {**facts, "files": listed({name: Path(path) for name, path in facts["files"].items()})}

    async def clicks(self, what: str, **wishes: Any) -> Any:
        """See ``worker_tasks.clicks``; what is quick does not wait for photos being looked through."""
        if what in ("propose", "carry"):
            return await self.measuring.long(f"clicks-{what}", job_folder=str(self.folder), **wishes)
        return await self.worker.call("quick", f"clicks-{what}", job_folder=str(self.folder), **wishes)

    async def take_drawing(self, stream: AsyncIterator[bytes], name: str) -> str:
        """Keep a maker's drawing beside the job; its path as the job file has it. Raises ``Refused``."""
        data = bytearray()
        async for chunk in stream:
            data += chunk
            if len(data) > DRAWING_LIMIT:
                raise Refused("too-large", 413)
        # a DXF in text begins with comments (group code 999) and a section (group code 0)
        if not re.match(rb"(\s*999\s[^\n]*\n)*\s*0\s+SECTION", bytes(data[:4096])):
            raise Refused("not-a-drawing", 415)
        folder = self.folder / "drawings"
        taken = {p.stem for p in folder.glob("*.dxf")} if folder.is_dir() else set()
        path = folder / f"{free_stem(stem_of(name), taken)}.dxf"
        folder.mkdir(exist_ok=True)
        await asyncio.to_thread(write_bytes_atomic, path, bytes(data))
        return f"drawings/{path.name}"

    async def archive(self) -> Path:
        """Pack the job; path of the zip file."""
        to = self.photo_table.cache / "job.zip"
        to.parent.mkdir(parents=True, exist_ok=True)
        await self.measuring.long("archive", job_folder=str(self.folder), to=str(to))
        return to


def listed(files: dict[str, Path]) -> list[dict[str, Any]]:
    """Files for the page: what they are asked for by, their own name, their size; no path leaves the server."""
    return [{"name": n, "file": p.name, "bytes": p.stat().st_size} for n, p in files.items()]
