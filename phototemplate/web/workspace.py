"""The folder of jobs, and the one job that is open: what the first page shows and does."""

from __future__ import annotations

import asyncio
import contextlib
import json
import shutil
import tempfile
import time
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

from phototemplate.errors import PhototemplateError
from phototemplate.job import JOB_FILE, PHOTO_SUFFIXES, load_job
from phototemplate.result_set import current_set
from phototemplate.web.constants import LONGEST_NAME
from phototemplate.web.events import Hub
from phototemplate.web.open_job import OpenJob, listed
from phototemplate.web.phone import PhoneLink
from phototemplate.web.photo_files import photo_folder, receive
from phototemplate.web.refusals import Refused
from phototemplate.web.remeasuring import KEPT_FILE
from phototemplate.web.worker import Worker

ARCHIVE = "archive"
"""Folder beside the jobs for those that are done with"""
CALIBRATION = "calibration"
"""Folder of the photos of a calibration board, as the worker knows it"""


def is_job(folder: Path) -> bool:
    """Whether a folder holds a job: a job file, a folder of photos, or photos."""
    if not folder.is_dir():
        return False
    if (folder / JOB_FILE).is_file() or (folder / "photos").is_dir():
        return True
    with contextlib.suppress(OSError):
        return any(p.suffix.lower() in PHOTO_SUFFIXES for p in folder.iterdir())
    return False


class Workspace:
    """A folder with a folder per job; at most one is open. ``wanted`` is a name that was asked for and is no job yet."""

    def __init__(self, folder: Path, open_name: str = "", wanted: str = "") -> None:
        self.folder, self.wanted = folder, wanted
        self.hub = Hub()
        self.current: OpenJob | None = OpenJob(folder / open_name, self.hub) if open_name else None
        self.files: dict[str, Path] = {}
        """What was made without a job, by name"""
        self.phone: PhoneLink | None = None
        self._switching = asyncio.Lock()
        self._worker = Worker()
        self._made = tempfile.TemporaryDirectory(prefix="phototemplate-")

    @property
    def opened(self) -> OpenJob:
        """The open job. Raises ``Refused`` where none is open."""
        if self.current is None:
            raise Refused("no-job", 409)
        return self.current

    async def start(self) -> None:
        """Called once the server runs."""
        if self.current is not None:
            await self.current.open()

    async def close(self) -> None:
        """End everything; nothing is lost, for every change is on disk already."""
        self.hub.close()
        await self.phone_off()
        if self.current is not None:
            await self.current.close()
        self._worker.close()
        self._made.cleanup()

    async def make(self, what: str, /, **wishes: Any) -> dict[str, Any]:
        """Something that needs no job: sheets to print, a photo plan. The answer with its files by name."""
        facts: dict[str, Any] = await self._worker.call("long", what, folder=self._made.name, **wishes)
        made = {name: Path(path) for name, path in facts["files"].items()}
        self.files |= made
        return {**facts, "files": listed(made)}

    async def take_board_photo(self, stream: AsyncIterator[bytes], length: int | None, name: str) -> int:
        """Take a photo of a calibration board; how many there are. Raises ``Refused``."""
        folder = Path(self._made.name) / CALIBRATION
        taken = {p.stem for p in folder.glob("*")} if folder.is_dir() else set()
        await receive(stream, length, name, folder, taken)
        return len(taken) + 1

    async def phone_on(self) -> dict[str, Any]:
        """Listen for a phone that sends photos to the open job: its link, and the same as a square code (rows of 0 and 1)."""
        if self.phone is None:
            self.phone = PhoneLink(self.opened)
            await self.phone.start()
        return {"url": self.phone.url, "code": await self._worker.call("quick", "square-code", text=self.phone.url)}

    async def phone_off(self) -> None:
        """The link is dead from here on."""
        if self.phone is not None:
            await self.phone.close()
            self.phone = None

    # ------------------------------------------------------------------------------------------- jobs

    def jobs(self) -> list[dict[str, Any]]:
        """Every job of the folder, the one worked on last first."""
        found = [self._facts(p) for p in self.folder.iterdir() if not p.name.startswith(".") and is_job(p)]
        return sorted(found, key=lambda facts: -facts["changed"])

    def _facts(self, folder: Path) -> dict[str, Any]:
        facts: dict[str, Any] = {"folder": folder.name, "name": folder.name, "photos": 0, "edges": 0, "picture": ""}
        facts["changed"] = (folder / JOB_FILE if (folder / JOB_FILE).exists() else folder).stat().st_mtime
        try:
            job = load_job(folder)
        except PhototemplateError as exc:
            return {**facts, "state": "unreadable", "detail": str(exc)}
        photos = photo_folder(job)
        facts |= {"name": job.name, "edges": len(job.file.edges), "pieces": len(job.file.pieces)}
        if photos.is_dir():
            facts["photos"] = sum(p.suffix.lower() in PHOTO_SUFFIXES for p in photos.iterdir())
        cache = job.results / ".view"
        thumb = min(cache.glob("thumb-*.jpg"), default=None)
        facts["picture"] = "" if thumb is None else thumb.name
        facts["state"] = "photos" if facts["photos"] else "drawn" if job.file.drawn else "new"
        with contextlib.suppress(OSError, ValueError, KeyError, TypeError, RecursionError):
            kept = json.loads((cache / KEPT_FILE).read_text(encoding="utf-8"))["result"]
            written = current_set(job) is not None
            facts["state"] = "written" if written else "measured" if kept["edges"] else "placed"
        return facts

    def place(self, name: str) -> Path:
        """The folder of a job by its name. Raises ``Refused`` where there is none."""
        known = {p.name: p for p in self.folder.iterdir() if is_job(p)}
        if name not in known:
            raise Refused("no-such-job", 404, name=name)
        return known[name]

    def picture(self, name: str) -> Path | None:
        """A photo of a job, small."""
        cache = self.place(name) / "results" / ".view"
        return min(cache.glob("thumb-*.jpg"), default=None)

    async def open(self, name: str) -> None:
        """Open a job; the one that was open is closed. Raises ``Refused``, ``JobFileError``."""
        async with self._switching:
            folder = self.place(name)
            if self.current is not None and self.current.folder == folder:
                return
            opened = OpenJob(folder, self.hub)
            await self.phone_off()
            if self.current is not None:
                await self.current.close()
            self.current = opened
            await opened.open()
            self.hub.tell("moved", folder=name)

    async def leave(self) -> None:
        """Back to the first page: nothing is open."""
        async with self._switching:
            await self.phone_off()
            if self.current is not None:
                await self.current.close()
            self.current = None
            self.hub.tell("moved", folder="")

    def new_job(self, title: str) -> str:
        """Make an empty job; name of its folder. Raises ``Refused``."""
        folder = self._free(folder_name(title))
        (folder / "photos").mkdir(parents=True)
        return folder.name

    async def copy(self, name: str) -> str:
        """Copy photos and job file of a job, without what was written from them; name of the copy."""
        source = self.place(name)
        target = self._free(f"{source.name} copy")
        ignore = shutil.ignore_patterns("results", ".results-*", ".lock*", ".arriving-*", "history.jsonl")
        await asyncio.to_thread(shutil.copytree, source, target, ignore=ignore)
        return target.name

    async def archive(self, name: str) -> None:
        """Move a job that is done with into the folder ``archive``; it can be moved back by hand."""
        source = self.place(name)
        if self.current is not None and self.current.folder == source:
            await self.leave()
        target = self.folder / ARCHIVE / source.name
        if target.exists():
            target = self.folder / ARCHIVE / f"{source.name} {time.strftime('%Y-%m-%d %H%M%S')}"
        target.parent.mkdir(exist_ok=True)
        source.rename(target)

    def _free(self, name: str) -> Path:
        names = {p.name.lower() for p in self.folder.iterdir()}
        k, free = 1, name
        while free.lower() in names:
            k += 1
            free = f"{name} {k}"
        return self.folder / free


def folder_name(title: str) -> str:
    """A title as a folder's name that every system takes. Raises ``Refused`` where nothing is left of it."""
    kept = "".join(c if c.isalnum() or c in " -_," else "-" for c in title).strip(" -_,.")[:LONGEST_NAME].strip()
    if not kept or kept.lower() == ARCHIVE:
        raise Refused("bad-job-name")
    return kept
