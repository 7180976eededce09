"""The results of a job as one set: written aside, swapped in at once, with a manifest of what it was made from.

::

    JOBDIR/
      results/             the present set, and whatever other commands have put there
        manifest.json      what the set was made from and which files belong to it
      .results-XXXXXXXX/   a set that is being written; left over only where a program was killed
      .lock, .lock-held    held while a set is made

A reader sees the whole old set or the whole new one, whenever the writer is killed and however many writers there are. Files of
an earlier set do not stay beside those of a later one. A set whose inputs have changed since is not offered
(:func:`current_set`).
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import secrets
import shutil
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from phototemplate import __version__
from phototemplate.atomic import sync_folder, write_text_atomic
from phototemplate.constants import MANIFEST
from phototemplate.errors import JobBusyError, OutputError
from phototemplate.job import Job
from phototemplate.locks import held, held_by_another

FORMAT = "phototemplate-results"
ASIDE = ".results-"
"""Beginning of the name of a folder in which a set is written"""
LOCK = ".lock"
CACHE = ".view"
"""Pictures of the app, which are no results and move along"""


@dataclass(frozen=True)
class ResultSet:
    """A set of results as its manifest describes it."""

    folder: Path
    files: Mapping[str, str]
    """Name of each file of the set -> its SHA-256"""
    inputs: Mapping[str, Any]
    """What it was made from: revision of the job file, and each photo's size, time and SHA-256"""
    made: str
    """When, as ISO 8601"""

    def paths(self) -> list[Path]:
        """The files of the set that are still there as they were written."""
        return [self.folder / name for name, mark in self.files.items() if _digest(self.folder / name) == mark]


def read_set(folder: Path) -> ResultSet | None:
    """The set in a folder of results; None where there is none or its manifest cannot be read."""
    try:
        raw = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
        if raw["format"] != FORMAT:
            return None
        return ResultSet(folder, dict(raw["files"]), dict(raw["inputs"]), str(raw["made"]))
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return None


def current_set(job: Job) -> ResultSet | None:
    """The job's set of results, where it was made from the job file and the photos as they are now; else None."""
    found = read_set(job.results)
    if found is None or found.inputs.get("job") != job.revision:
        return None
    photos = found.inputs.get("photos")
    if not isinstance(photos, dict):
        return None
    try:
        now = {p.name: p.stat() for p in job.photo_paths()}
        if set(now) != set(photos):
            return None
        for name, status in now.items():
            kept = photos[name]
            if kept["size"] != status.st_size:
                return None
            if kept["time_ns"] != status.st_mtime_ns and kept["sha256"] != _digest(_photo(job, name)):
                return None
    except (OSError, KeyError, TypeError):
        return None
    return found


def _photo(job: Job, name: str) -> Path:
    return next(p for p in job.photo_paths() if p.name == name)


def _digest(path: Path) -> str:
    """SHA-256 of a file; empty where it cannot be read."""
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return ""


def inputs_of(job: Job) -> dict[str, Any]:
    """What results of this job rest on: the job file as it was read, and the photos."""
    photos = {}
    for path in job.photo_paths():
        with contextlib.suppress(OSError):
            status = path.stat()
            photos[path.name] = {"size": status.st_size, "time_ns": status.st_mtime_ns, "sha256": _digest(path)}
    return {"job": job.revision, "photos": photos}


# ----------------------------------------------------------------------------------------------- writing


@contextlib.contextmanager
def new_set(job: Job, inputs: Mapping[str, Any], names: frozenset[str]) -> Iterator[Path]:
    """Give an empty folder to write a set into; it becomes the job's results when the block ends well, else it vanishes.

    ``inputs`` as :func:`inputs_of` gave them before the work began; ``names`` are files that only sets consist of, so that one
    left over from a program without manifests does not stay. The caller holds :func:`working_on` the job.

    Raises ``OutputError`` where the folder cannot be made or swapped in; the earlier set stays.
    """
    results = job.results
    if results.exists() and not results.is_dir():
        raise OutputError(f"{results} is a file where the folder of results belongs; move it away or rename it.")
    recover(job.folder)
    aside = job.folder / f"{ASIDE}{secrets.token_hex(4)}"
    try:
        aside.mkdir()
    except OSError as exc:
        raise OutputError(f"No results can be written into {job.folder} ({exc.strerror}); free the disk or allow it.") from exc
    try:
        yield aside
        _finish(aside, inputs)
        if who := held_by_another(job.folder / LOCK):  # this machine slept, and was taken for dead
            raise JobBusyError(f"{job.folder} was taken over by {who}; its results are kept, these are not.")
        _carry_over(results, aside, names)
        _swap(results, aside)
    finally:
        shutil.rmtree(aside, ignore_errors=True)


def _finish(aside: Path, inputs: Mapping[str, Any]) -> None:
    files = {p.name: _digest(p) for p in sorted(aside.iterdir()) if p.is_file()}
    made = datetime.now().astimezone().isoformat(timespec="seconds")
    manifest = {"format": FORMAT, "version": __version__, "made": made, "inputs": inputs, "files": files}
    write_text_atomic(aside / MANIFEST, json.dumps(manifest, indent=1))


def _carry_over(results: Path, aside: Path, names: frozenset[str]) -> None:
    """What other commands have put into the folder of results moves along; files of the earlier set do not."""
    if not results.is_dir():
        return
    old = read_set(results)
    gone = names | {MANIFEST} | (frozenset(old.files) if old is not None else frozenset())
    for path in results.iterdir():
        if path.name.startswith(".") or path.name in gone or (aside / path.name).exists():
            continue  # what a killed program was writing, and files of the sets
        if path.is_file():
            try:
                os.link(path, aside / path.name)
            except OSError:  # a disk without hard links
                shutil.copy2(path, aside / path.name)


def _swap(results: Path, aside: Path) -> None:
    old = aside.with_name(f"{ASIDE}old-{secrets.token_hex(4)}")
    try:
        if results.is_dir():
            results.rename(old)
        try:
            aside.rename(results)
        except OSError:
            if old.is_dir():
                old.rename(results)
            raise
    except OSError as exc:
        raise OutputError(
            f"{results} could not be replaced ({exc.strerror}), the earlier results are unchanged; close programs that have a "
            "file in it open."
        ) from exc
    sync_folder(results.parent)
    with contextlib.suppress(OSError):
        (old / CACHE).rename(results / CACHE)
    shutil.rmtree(old, ignore_errors=True)


def recover(folder: Path) -> None:
    """Clear what a killed writer left: a set that was between its two names goes to its place, half-written ones vanish."""
    left = sorted(p for p in folder.glob(f"{ASIDE}*") if p.is_dir())
    results = folder / "results"
    if not results.exists():
        whole = [p for p in left if read_set(p) is not None]
        if whole:  # new ones are complete once they have a manifest; the one before it otherwise
            best = min(whole, key=lambda p: p.name.startswith(f"{ASIDE}old-"))
            best.rename(results)
            left.remove(best)
    for path in left:
        shutil.rmtree(path, ignore_errors=True)


def retire(job: Job) -> None:
    """Take away a set that is no longer true: what is measured now allows none. The caller holds :func:`working_on` the job."""
    found = read_set(job.results)
    if found is not None:
        for name in (MANIFEST, *found.files):
            (job.results / name).unlink(missing_ok=True)


# ------------------------------------------------------------------------------------------------- the lock


@contextlib.contextmanager
def working_on(job: Job) -> Iterator[None]:
    """Hold the job: one program at a time makes its results. The system lets go of the lock however a program ends.

    Raises ``JobBusyError`` that names who holds it.
    """
    with held(job.folder / LOCK):
        yield
