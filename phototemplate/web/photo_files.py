"""The table of photos, and their way in: raw streams with limits, under names of the app's own making."""

from __future__ import annotations

import contextlib
import hashlib
import os
import re
import secrets
import time
from collections.abc import AsyncIterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from phototemplate.atomic import sync_folder
from phototemplate.job import PHOTO_SUFFIXES, Job
from phototemplate.web.constants import MOST_PHOTOS, STALE_S, UPLOAD_LIMIT
from phototemplate.web.refusals import Refused

HEIF_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"hevm", b"hevs", b"mif1", b"msf1")
State = Literal["waiting", "looking", "seen", "bad"]


@dataclass
class PhotoEntry:
    """One photo of the job as the page sees it."""

    photo_id: str
    path: Path
    version: str
    """Changes with the file; part of every address of its pictures"""
    size_bytes: int
    state: State = "waiting"
    used: bool = True
    trouble: dict[str, Any] | None = None
    """Why it cannot be used, as ``refusals.words_of`` has it"""
    seen: dict[str, Any] = field(default_factory=dict)

    def facts(self) -> dict[str, Any]:
        """For the page; no path leaves the server."""
        return {
            "id": self.photo_id, "file": self.path.name, "version": self.version, "bytes": self.size_bytes, "state": self.state,
            "used": self.used, "trouble": self.trouble, **({"seen": self.seen} if self.seen else {}),
        }


def photo_folder(job: Job) -> Path:
    """Where photos lie and arrive."""
    inner = job.folder / "photos"
    if inner.is_dir() or not any(p.suffix.lower() in PHOTO_SUFFIXES for p in job.folder.iterdir()):
        return inner
    return job.folder


def list_photos(job: Job, known: dict[str, PhotoEntry]) -> dict[str, PhotoEntry]:
    """Every photo of the folder by id; what is known of unchanged ones is kept."""
    folder = photo_folder(job)
    out: dict[str, PhotoEntry] = {}
    left_out = set(job.file.leave_out)
    if not folder.is_dir():
        return out
    for path in sorted(folder.iterdir()):
        if path.suffix.lower() not in PHOTO_SUFFIXES or path.name.startswith("."):
            continue
        with contextlib.suppress(OSError):
            status = path.stat()
            version = version_of(path.name, status.st_size, status.st_mtime_ns)
            entry = known.get(path.stem)
            if entry is None or entry.version != version or entry.path != path:
                entry = PhotoEntry(path.stem, path, version, status.st_size)
            entry.used = path.name not in left_out
            out[path.stem] = entry
    return out


def version_of(name: str, size: int, mtime_ns: int) -> str:
    """Fingerprint of one version of a photo file."""
    return hashlib.sha256(f"{name}\x1f{size}\x1f{mtime_ns}".encode()).hexdigest()[:20]


def suffix_of(head: bytes) -> str:
    """File suffix by the first bytes, empty where it is no picture of a kind that can be read."""
    if head[:3] == b"\xff\xd8\xff":
        return ".jpg"
    if head[:8] == b"\x89PNG\r\n\x1a\n":
        return ".png"
    if head[:4] in (b"II*\0", b"MM\0*"):
        return ".tif"
    if head[4:8] == b"ftyp" and head[8:12] in HEIF_BRANDS:
        return ".heic"
    return ""


def stem_of(name: str) -> str:
    """A harmless file stem that still reads like the phone's: letters, digits, hyphen and underscore only."""
    last = re.split(r"[\\/]", name)[-1]
    stem = last.rsplit(".", 1)[0] if "." in last else last
    stem = re.sub(r"[^A-Za-z0-9_-]+", "-", stem).strip("-_")[:48]
    return stem or "photo"


async def receive(
    stream: AsyncIterator[bytes], length: int | None, name: str, folder: Path, taken: set[str]
) -> tuple[Path, str]:
    """Take one photo from a request's body; path and SHA-256.

    It arrives under a random name and gets its final name only when it is complete. Raises ``Refused``.
    """
    if length is not None and length > UPLOAD_LIMIT:
        raise Refused("photo-too-large", 413)
    if len(taken) >= MOST_PHOTOS:
        raise Refused("too-many-photos", 409)
    folder.mkdir(parents=True, exist_ok=True)
    _sweep(folder)
    part = folder / f".arriving-{secrets.token_hex(12)}.part"
    digest = hashlib.sha256()
    got, head = 0, b""
    try:
        with part.open("xb") as file:
            async for chunk in stream:
                got += len(chunk)
                if got > UPLOAD_LIMIT:
                    raise Refused("photo-too-large", 413)
                if len(head) < 16:
                    head += chunk[: 16 - len(head)]
                    if len(head) >= 16 and not suffix_of(head):
                        raise Refused("not-a-photo", 415)
                digest.update(chunk)
                file.write(chunk)
            if not suffix_of(head):
                raise Refused("not-a-photo", 415)
            if length is not None and got != length:
                raise Refused("cut-short", 400)
            file.flush()
            os.fsync(file.fileno())
        # named only now and without a pause: another photo of the same name may have arrived meanwhile
        stem = free_stem(stem_of(name), taken | {p.stem for p in folder.iterdir() if not p.name.startswith(".")})
        path = folder / f"{stem}{suffix_of(head)}"
        os.replace(part, path)
        sync_folder(folder)
        return path, digest.hexdigest()
    finally:
        part.unlink(missing_ok=True)


def free_stem(stem: str, taken: set[str]) -> str:
    """The stem, numbered where it is taken (on disks that do not tell capitals apart, too)."""
    lower = {t.lower() for t in taken}
    if stem.lower() not in lower:
        return stem
    k = 2
    while f"{stem}-{k}".lower() in lower:
        k += 1
    return f"{stem}-{k}"


def _sweep(folder: Path) -> None:
    """Remove what broken uploads of earlier runs left behind."""
    for old in folder.glob(".arriving-*.part"):
        with contextlib.suppress(OSError):
            if time.time() - old.stat().st_mtime > STALE_S:
                old.unlink()


def digest_of(path: Path) -> str:
    """SHA-256 of a file."""
    digest = hashlib.sha256()
    with path.open("rb") as file:
        while chunk := file.read(1 << 20):
            digest.update(chunk)
    return digest.hexdigest()

