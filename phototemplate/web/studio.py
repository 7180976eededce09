"""One open job: what the server knows of it, every change of it, and when it is measured again.

All methods run on the server's event loop; everything heavy is asked of the worker process. The job file on disk is the
truth: it is read again whenever somebody else has changed it, and a change based on an older revision is refused.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import shutil
import time
from collections.abc import AsyncIterator, Coroutine
from pathlib import Path
from typing import Any

import tomlkit

from phototemplate.errors import InputError, JobFileError, MeasureError, PhotoError, PhototemplateError
from phototemplate.job import JOB_FILE, JobFile, load_job, parse_job, save_job
from phototemplate.output.atomic import write_text_atomic
from phototemplate.web.edits import apply_operations
from phototemplate.web.events import Hub
from phototemplate.web.journal import Journal, Step, apply_changes, differences
from phototemplate.web.photos import PhotoEntry, Refused, digest_of, list_photos, photo_folder, receive
from phototemplate.web.worker import Cancelled, Worker

SETTLE_S = 0.6
"""After the last photo has arrived, before measuring begins"""
WATCH_S = 1.0


class Conflict(PhototemplateError):
    """The change was based on a revision that is no longer the present one."""


class Studio:
    """The job behind the pages."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.job = load_job(folder)
        self.journal = Journal(folder, self.job.revision)
        self.hub = Hub()
        self.worker = Worker()
        self.worker.on_restart = lambda: self.hub.tell("worker", state="restarted")
        self.photos: dict[str, PhotoEntry] = list_photos(self.job, {})
        self.result: bytes = b""
        self.result_number = 0
        self.top: dict[str, Any] | None = None
        self.files: dict[str, Path] = {}
        self.proposals: list[dict[str, Any]] = []
        self.trouble = ""
        self.stage: dict[str, Any] = {"state": "idle", "stage": "", "share": 0.0}
        self._digests: dict[str, str] = {}
        self._arriving = 0
        self._wish = asyncio.Event()
        self._lock = asyncio.Lock()
        self._running: set[asyncio.Task[Any]] = set()
        self._looking: set[str] = set()
        self._told = 0.0

    # ------------------------------------------------------------------------------------------- life

    @property
    def cache(self) -> Path:
        """Pictures made for the page; may be deleted at any time."""
        return self.job.results / ".view"

    async def open(self) -> None:
        """Start the worker and whatever there is to do."""
        self._spawn(self._measure_when_wished())
        self._spawn(self._watch())
        self._spawn(self._begin())

    async def _begin(self) -> None:
        await asyncio.sleep(0)  # the first page is served before the worker is started
        self._sweep_cache()
        self.worker.start()
        self._look_at_photos()
        if self.photos:
            self.wish()

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

    def _sweep_cache(self) -> None:
        """Forget pictures of photos that are gone or changed."""
        if not self.cache.is_dir():
            return
        versions = {p.version for p in self.photos.values()}
        for entry in self.cache.iterdir():
            kind, _, rest = entry.name.partition("-")
            if kind in ("photo", "thumb") and rest.removesuffix(".jpg") not in versions:
                if entry.is_dir():
                    shutil.rmtree(entry, ignore_errors=True)
                else:
                    entry.unlink(missing_ok=True)

    # ------------------------------------------------------------------------------------------ state

    def facts(self) -> dict[str, Any]:
        """Everything a page needs to begin, but the result itself."""
        return {
            **self.job_facts(),
            "photos": [p.facts() for p in self.photos.values()],
            "result": self.result_number,
            "top": self.top,
            "trouble": self.trouble,
            "work": self.stage,
            "files": sorted(self.files),
            "proposals": self.proposals,
        }

    def job_facts(self) -> dict[str, Any]:
        """The job file and the ways back and forth."""
        undo, redo = self.journal.undoable, self.journal.redoable
        return {
            "revision": self.job.revision, "name": self.job.name, "job": plain(self.job.file),
            "undo": undo.label if undo else None, "redo": redo.label if redo else None,
        }

    # ---------------------------------------------------------------------------------------- changes

    async def edit(self, revision: str, label: dict[str, Any], operations: Any) -> dict[str, Any]:
        """Change the job file. Raises ``Conflict``, ``InputError``, ``OutputError``; nothing is changed then."""
        async with self._lock:
            self._fresh(revision)
            before = plain(self.job.file)
            after = without_none(apply_operations(before, operations))
            return self._commit(label, before, after)

    def _commit(self, label: dict[str, Any], before: dict[str, Any], after: dict[str, Any]) -> dict[str, Any]:
        file = checked(after)
        changes = differences(before, plain(file))
        if changes:
            step = Step(label, changes)
            number = self.journal.note("do", step, self.job.revision)
            self._save(file, number)
            self.journal.settle("do", step)
            self._changed()
        return self.job_facts()

    async def step(self, revision: str, back: bool) -> dict[str, Any]:
        """Undo or redo one step. Raises as ``edit`` does."""
        async with self._lock:
            self._fresh(revision)
            step = self.journal.undoable if back else self.journal.redoable
            if step is None:
                raise InputError("There is nothing to undo." if back else "There is nothing to do again.")
            kind = "undo" if back else "redo"
            file = checked(apply_changes(plain(self.job.file), step.changes, back))
            number = self.journal.note(kind, step, self.job.revision)
            self._save(file, number)
            self.journal.settle(kind, step)
            self._changed()
            return self.job_facts()

    def _save(self, file: JobFile, number: int) -> None:
        try:
            self.job = save_job(self.job, file)
        except PhototemplateError as exc:
            self.journal.withdraw(number)
            if isinstance(exc, JobFileError):
                self._reload()
                raise Conflict(str(exc)) from exc
            raise

    def _fresh(self, revision: str) -> None:
        self._reload()
        if revision != self.job.revision:
            raise Conflict("The job was changed in another window or program.")

    def _reload(self) -> bool:
        """Read the job file again; True where it was changed by somebody else."""
        job = load_job(self.folder)
        if job.revision == self.job.revision:
            return False
        self.job = job
        self._changed()
        return True

    def _changed(self) -> None:
        self.photos = list_photos(self.job, self.photos)
        self.files.clear()
        self.hub.tell("job", revision=self.job.revision)
        self.wish()

    async def _watch(self) -> None:
        """Notice a job file or photos changed by somebody else while a page is open."""
        while True:
            await asyncio.sleep(WATCH_S)
            if not self.hub.pages:
                continue
            with contextlib.suppress(OSError, PhototemplateError):
                if not self._lock.locked():
                    self._reload()
                before = {p.photo_id: p.version for p in self.photos.values()}
                if not self._arriving:
                    self.photos = list_photos(self.job, self.photos)
                    if before != {p.photo_id: p.version for p in self.photos.values()}:
                        self.hub.tell("photos")
                        self._look_at_photos()
                        self.wish()

    # ----------------------------------------------------------------------------------------- photos

    async def take_photo(self, stream: AsyncIterator[bytes], length: int | None, name: str) -> dict[str, Any]:
        """Take an upload. Raises ``Refused``."""
        self._arriving += 1
        try:
            folder = photo_folder(self.job)
            taken = {p.stem for p in folder.glob("*")} if folder.is_dir() else set()
            path, digest = await receive(stream, length, name, folder, taken)
            twin = await self._twin(path, digest)
            if twin:
                path.unlink(missing_ok=True)
                raise Refused("photo-twice", 409, twin)
            try:
                await self.worker.call("quick", "check", path=str(path))
            except PhotoError as exc:
                path.unlink(missing_ok=True)
                raise Refused("photo-unreadable", 422, str(exc)) from exc
            self.photos = list_photos(self.job, self.photos)
            self._digests[path.stem] = digest
            entry = self.photos[path.stem]
            self.hub.tell("photo", photo=entry.facts())
            self._look_at_photos()
            return entry.facts()
        finally:
            self._arriving -= 1
            self.wish()

    async def _twin(self, path: Path, digest: str) -> str:
        """Name of a photo with the same bytes."""
        size = path.stat().st_size
        for entry in self.photos.values():
            if entry.size_bytes == size and entry.path != path:
                if entry.photo_id not in self._digests:
                    self._digests[entry.photo_id] = await asyncio.to_thread(digest_of, entry.path)
                if self._digests[entry.photo_id] == digest:
                    return entry.photo_id
        return ""

    def _look_at_photos(self) -> None:
        for entry in self.photos.values():
            if entry.state == "waiting" and entry.version not in self._looking:
                self._looking.add(entry.version)
                self._spawn(self._look(entry))

    async def _look(self, entry: PhotoEntry) -> None:
        entry.state = "looking"
        try:
            entry.seen = await self.worker.call(
                "photos", "photo", path=str(entry.path), job_folder=str(self.folder), thumb=str(self.thumb(entry))
            )
            entry.state = "seen"
        except PhototemplateError as exc:
            entry.state, entry.trouble = "bad", str(exc)
        finally:
            self._looking.discard(entry.version)
        if self.photos.get(entry.photo_id) is entry:
            self.hub.tell("photo", photo=entry.facts())
            self.wish()

    def thumb(self, entry: PhotoEntry) -> Path:
        """Where a photo's thumbnail is or will be."""
        return self.cache / f"thumb-{entry.version}.jpg"

    async def tiles_of(self, entry: PhotoEntry) -> Path:
        """Folder of a photo's tiles, cut now where they are not there yet. Raises ``PhotoError``."""
        folder = self.cache / f"photo-{entry.version}"
        if not (folder / "done").exists():
            await self.worker.call("photos", "photo-tiles", path=str(entry.path), folder=str(folder))
        return folder

    # -------------------------------------------------------------------------------------- measuring

    def wish(self) -> None:
        """Measure when there is time."""
        self._wish.set()

    async def _measure_when_wished(self) -> None:
        while True:
            await self._wish.wait()
            self._wish.clear()
            if not any(p.used and p.state != "bad" for p in self.photos.values()):
                self._state("idle")
                continue
            if self._arriving or any(p.state in ("waiting", "looking") for p in self.photos.values()):
                self._state("photos")
                await asyncio.sleep(SETTLE_S)
                self.wish()
                continue
            await self._measure()

    async def _measure(self) -> None:
        self._state("measuring")
        started = time.monotonic()
        try:
            result = await self.worker.call("long", "measure", self._progress, job_folder=str(self.folder))
        except Cancelled:
            self._state("stopped")
            return
        except PhototemplateError as exc:
            self.trouble = str(exc)
            self.result = b"" if isinstance(exc, MeasureError) else self.result
            self._state("failed", trouble=self.trouble)
            return
        self.result, self.trouble = result, ""
        self.result_number += 1
        self._state("measured", seconds=round(time.monotonic() - started, 3), result=self.result_number)
        if not self._wish.is_set():
            self._spawn(self._picture())

    async def _picture(self) -> None:
        """The rectified picture, where the network has changed since the last."""
        head = json.loads(self.result)
        if self.top is not None and self.top["key"] == head["picture_key"]:
            self._state("idle")
            return
        key = head["picture_key"]
        try:
            facts = await self.worker.call("long", "top", self._progress, folder=str(self.cache / f"top-{key}"))
        except Cancelled:
            self._state("stopped")
            return
        except PhototemplateError:
            self._state("idle")
            return
        self.top = {"key": key, **facts}
        self.hub.tell("top", top=self.top)
        self._state("idle")
        if not self.job.file.edges:
            with contextlib.suppress(PhototemplateError):
                await self.propose()
        for old in self.cache.glob("top-*"):
            if old.name != f"top-{key}":
                shutil.rmtree(old, ignore_errors=True)

    def _progress(self, stage: str, share: float) -> None:
        now = time.monotonic()
        if now - self._told > 0.08 or share >= 1.0:
            self._told = now
            self._state("measuring", stage=stage, share=share)

    def _state(self, state: str, stage: str = "", share: float = 0.0, **more: Any) -> None:
        self.stage = {"state": state, "stage": stage, "share": share}
        self.hub.tell("work", **self.stage, **more)

    # ---------------------------------------------------------------------------------------- proposals

    async def propose(self) -> None:
        """Look for edges that nobody has drawn."""
        try:
            found = await self.worker.call("long", "propose", self._progress)
        finally:
            self._state("idle")
        turned_down = self._turned_down()
        self.proposals = [p | {"key": key} for p in found if (key := proposal_key(p)) not in turned_down]
        self.hub.tell("proposals", proposals=self.proposals)

    def turn_down(self, key: str) -> None:
        """Do not propose this edge again (until the picture cache is deleted)."""
        self.proposals = [p for p in self.proposals if p["key"] != key]
        self.cache.mkdir(parents=True, exist_ok=True)
        write_text_atomic(self.cache / "turned-down.json", json.dumps(sorted({*self._turned_down(), key})))
        self.hub.tell("proposals", proposals=self.proposals)

    def _turned_down(self) -> set[str]:
        with contextlib.suppress(OSError, ValueError):
            return {str(k) for k in json.loads((self.cache / "turned-down.json").read_text())}
        return set()

    # ------------------------------------------------------------------------------------------ finish

    async def finish(self) -> dict[str, Any]:
        """Write every result; names of the files."""
        try:
            facts = await self.worker.call("long", "finish", self._progress, job_folder=str(self.folder))
        finally:
            self._state("idle")
        self.files = {name: Path(path) for name, path in facts["files"].items()}
        return {
            "files": [{"name": n, "file": p.name, "bytes": p.stat().st_size} for n, p in self.files.items()],
            "unscaled": facts["unscaled"], "revision": facts["revision"], "trouble": facts["trouble"],
        }

    async def archive(self) -> Path:
        """Pack the job; path of the zip file."""
        to = self.cache / "job.zip"
        to.parent.mkdir(parents=True, exist_ok=True)
        try:
            await self.worker.call("long", "archive", self._progress, job_folder=str(self.folder), to=str(to))
        finally:
            self._state("idle")
        return to


def proposal_key(p: dict[str, Any]) -> str:
    """The same proposal has the same key in a later search: what it is and, to a few centimetres, where."""
    if p["targets"]:
        return f"{p['kind']} {' '.join(p['targets'])}"
    (x0, y0), (x1, y1) = p["line"][0], p["line"][-1]
    return f"{p['kind']} {round((x0 + x1) / 80)} {round((y0 + y1) / 80)}"


def plain(file: JobFile) -> dict[str, Any]:
    """The job file as plain data, without what is left at its default; as ``save_job`` writes it."""
    out: dict[str, Any] = file.model_dump(mode="json", by_alias=True, exclude_defaults=True, exclude_none=True)
    return out


def checked(table: dict[str, Any]) -> JobFile:
    """Plain data as a job file. Raises ``InputError`` with a sentence that names the place."""
    try:
        return parse_job(tomlkit.dumps(table).encode(), JOB_FILE)
    except JobFileError as exc:
        raise InputError(str(exc).replace(f"{JOB_FILE}: ", "")) from exc
    except (ValueError, TypeError) as exc:
        raise InputError(f"This cannot be written to the job file: {exc}") from exc


def without_none(value: Any) -> Any:
    """Plain data without nulls, which a TOML file cannot hold."""
    if isinstance(value, dict):
        return {k: without_none(v) for k, v in value.items() if v is not None}
    if isinstance(value, list):
        return [without_none(v) for v in value if v is not None]
    return value


