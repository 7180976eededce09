"""The photos of an open job: how they arrive, what was seen in each, their thumbnails and tiles."""

from __future__ import annotations

import asyncio
import shutil
from collections.abc import AsyncIterator, Callable, Coroutine
from pathlib import Path
from typing import Any

from phototemplate.errors import PhotoError, PhototemplateError
from phototemplate.job import Job
from phototemplate.web.events import Hub
from phototemplate.web.photo_files import PhotoEntry, digest_of, list_photos, photo_folder, receive
from phototemplate.web.refusals import Refused, words_of
from phototemplate.web.worker import Worker

Spawn = Callable[[Coroutine[Any, Any, Any]], None]


class PhotoTable:
    """The table of photos, kept in step with the folder.

    ``job_of`` gives the job as it is now, ``spawn`` starts work that nobody waits for, ``wish`` asks for a measurement.
    """

    def __init__(
        self, job_of: Callable[[], Job], worker: Worker, hub: Hub, spawn: Spawn, wish: Callable[[], None]
    ) -> None:
        self._job_of, self.worker, self.hub, self._spawn, self._wish = job_of, worker, hub, spawn, wish
        self.photos: dict[str, PhotoEntry] = list_photos(job_of(), {})
        self.arriving = 0
        """Uploads under way"""
        self._digests: dict[str, str] = {}
        self._looking: set[str] = set()

    @property
    def job(self) -> Job:
        """The job as it is now."""
        return self._job_of()

    @property
    def cache(self) -> Path:
        """Pictures made for the page; may be deleted at any time."""
        return self._job_of().results / ".view"

    @property
    def busy(self) -> bool:
        """True while photos arrive or are looked at."""
        return bool(self.arriving) or any(p.state in ("waiting", "looking") for p in self.photos.values())

    @property
    def usable(self) -> bool:
        """True where there is a photo to measure from."""
        return any(p.used and p.state != "bad" for p in self.photos.values())

    def list_again(self) -> bool:
        """Read the folder; True where photos came, went or changed."""
        before = {p.photo_id: p.version for p in self.photos.values()}
        self.photos = list_photos(self._job_of(), self.photos)
        return before != {p.photo_id: p.version for p in self.photos.values()}

    def sweep(self) -> None:
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

    async def take(self, stream: AsyncIterator[bytes], length: int | None, name: str) -> dict[str, Any]:
        """Take an upload. Raises ``Refused``."""
        self.arriving += 1
        try:
            folder = photo_folder(self._job_of())
            taken = {p.stem for p in folder.glob("*")} if folder.is_dir() else set()
            path, digest = await receive(stream, length, name, folder, taken)
            twin = await self._twin(path, digest)
            if twin:
                path.unlink(missing_ok=True)
                raise Refused("photo-twice", 409, detail=twin)
            try:
                await self.worker.call("quick", "check", path=str(path))
            except PhotoError as exc:
                path.unlink(missing_ok=True)
                raise Refused("photo-unreadable", 422, detail=exc) from exc
            self.list_again()
            self._digests[path.stem] = digest
            entry = self.photos[path.stem]
            self.hub.tell("photo", photo=entry.facts())
            self.look_at_new()
            return entry.facts()
        finally:
            self.arriving -= 1
            self._wish()

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

    def look_at_new(self) -> None:
        """Look for targets in photos that nobody has looked at."""
        for entry in self.photos.values():
            if entry.state == "waiting" and entry.version not in self._looking:
                self._looking.add(entry.version)
                self._spawn(self._look(entry))

    async def _look(self, entry: PhotoEntry) -> None:
        entry.state = "looking"
        try:
            entry.seen = await self.worker.call(
                "photos", "photo", path=str(entry.path), job_folder=str(self._job_of().folder), thumb=str(self.thumb(entry))
            )
            entry.state = "seen"
        except PhototemplateError as exc:
            entry.state, entry.trouble = "bad", words_of(exc)
        finally:
            self._looking.discard(entry.version)
        if self.photos.get(entry.photo_id) is entry:
            self.hub.tell("photo", photo=entry.facts())
            self._wish()

    def thumb(self, entry: PhotoEntry) -> Path:
        """Where a photo's thumbnail is or will be."""
        return self.cache / f"thumb-{entry.version}.jpg"

    async def tiles_of(self, entry: PhotoEntry) -> Path:
        """Folder of a photo's tiles, cut now where they are not there yet. Raises ``PhotoError``."""
        folder = self.cache / f"photo-{entry.version}"
        if not (folder / "done").exists():
            await self.worker.call("photos", "photo-tiles", path=str(entry.path), folder=str(folder))
        return folder
