"""One open job: its file, its photos, its result and the worker that computes, put together for the pages.

All methods run on the server's event loop; everything heavy is asked of the worker process.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Coroutine
from pathlib import Path
from typing import Any

from phototemplate.errors import PhototemplateError
from phototemplate.job import Job
from phototemplate.web.constants import WATCH_S
from phototemplate.web.events import Hub
from phototemplate.web.job_document import JobDocument
from phototemplate.web.journal import Journal
from phototemplate.web.photo_table import PhotoTable
from phototemplate.web.remeasuring import Measuring
from phototemplate.web.worker import Worker


class OpenJob:
    """The job behind the pages."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.hub = Hub()
        self.worker = Worker()
        self.worker.on_restart = lambda: self.hub.tell("worker", state="restarted")
        self.document = JobDocument(folder, self._changed)
        self.photo_table = PhotoTable(
            lambda: self.document.job, self.worker, self.hub, self._spawn, lambda: self.measuring.wish()
        )
        self.measuring = Measuring(
            folder, self.photo_table, self.worker, self.hub, self._spawn, lambda: bool(self.document.job.file.edges)
        )
        self.files: dict[str, Path] = {}
        """What was written for this revision of the job file, by name"""
        self._running: set[asyncio.Task[Any]] = set()

    @property
    def job(self) -> Job:
        """The job as it is now."""
        return self.document.job

    @property
    def journal(self) -> Journal:
        """The steps that led there."""
        return self.document.journal

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
        if self.photo_table.photos:
            self.measuring.wish()

    async def close(self) -> None:
        """End everything; nothing is lost, for every change is on disk already."""
        self.hub.close()
        for task in list(self._running):
            task.cancel()
        self.worker.close()

    def _spawn(self, work: Coroutine[Any, Any, Any]) -> None:
        task = asyncio.get_running_loop().create_task(work)
        self._running.add(task)
        task.add_done_callback(self._running.discard)

    def _changed(self) -> None:
        self.photo_table.list_again()
        self.files.clear()
        self.hub.tell("job", revision=self.job.revision)
        self.measuring.wish()

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
            "files": sorted(self.files),
            "proposals": m.proposals,
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
        return {
            "files": [{"name": n, "file": p.name, "bytes": p.stat().st_size} for n, p in self.files.items()],
            "unscaled": facts["unscaled"], "revision": facts["revision"], "trouble": facts["trouble"],
        }

    async def archive(self) -> Path:
        """Pack the job; path of the zip file."""
        to = self.photo_table.cache / "job.zip"
        to.parent.mkdir(parents=True, exist_ok=True)
        await self.measuring.long("archive", job_folder=str(self.folder), to=str(to))
        return to
