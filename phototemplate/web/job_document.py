"""The job file of an open job and every change of it.

The file on disk is the truth: it is read again whenever somebody else has changed it, and a change based on an older revision
is refused. A change is acknowledged only when journal and job file are both on the disk.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from pathlib import Path
from typing import Any

from phototemplate.errors import JobFileError, PhototemplateError
from phototemplate.job import Job, JobFile, load_job, save_job
from phototemplate.web.job_data import checked, plain, without_none
from phototemplate.web.journal import Journal, Step, apply_changes, differences
from phototemplate.web.operations import apply_operations
from phototemplate.web.refusals import Conflict, Refused


class JobDocument:
    """Job file and journal of one folder; ``on_change`` is called after every change, whoever made it."""

    def __init__(self, folder: Path, on_change: Callable[[], None] = lambda: None) -> None:
        self.folder = folder
        self.job: Job = load_job(folder)
        self.journal = Journal(folder, self.job.revision)
        self.on_change = on_change
        self._lock = asyncio.Lock()

    def facts(self) -> dict[str, Any]:
        """The job file and the ways back and forth."""
        undo, redo = self.journal.undoable, self.journal.redoable
        return {
            "revision": self.job.revision, "name": self.job.name, "job": plain(self.job.file),
            "undo": undo.label if undo else None, "redo": redo.label if redo else None,
        }

    async def edit(self, revision: str, label: dict[str, Any], operations: Any) -> dict[str, Any]:
        """Change the job file. Raises ``Conflict``, ``InputError``, ``OutputError``; nothing is changed then."""
        async with self._lock:
            self._fresh(revision)
            before = plain(self.job.file)
            file = checked(without_none(apply_operations(before, operations)))
            changes = differences(before, plain(file))
            if changes:
                self._make("do", Step(label, changes), file)
            return self.facts()

    async def step(self, revision: str, back: bool) -> dict[str, Any]:
        """Undo or redo one step. Raises as ``edit`` does."""
        async with self._lock:
            self._fresh(revision)
            step = self.journal.undoable if back else self.journal.redoable
            if step is None:
                raise Refused("nothing-to-undo" if back else "nothing-to-redo")
            self._make("undo" if back else "redo", step, checked(apply_changes(plain(self.job.file), step.changes, back)))
            return self.facts()

    def reload(self) -> bool:
        """Read the job file again, unless a change is being made; True where it was changed by somebody else."""
        return not self._lock.locked() and self._reload()

    def _make(self, kind: str, step: Step, file: JobFile) -> None:
        """Journal first, job file second: a crash between the two leaves a line whose change never happened."""
        number = self.journal.note(kind, step, self.job.revision)
        try:
            self.job = save_job(self.job, file)
        except PhototemplateError as exc:
            self.journal.withdraw(number)
            if isinstance(exc, JobFileError):
                self._reload()
                raise Conflict from exc
            raise
        self.journal.settle(kind, step)
        self.on_change()

    def _fresh(self, revision: str) -> None:
        self._reload()
        if revision != self.job.revision:
            raise Conflict

    def _reload(self) -> bool:
        job = load_job(self.folder)
        if job.revision == self.job.revision:
            return False
        self.job = job
        self.on_change()
        return True
