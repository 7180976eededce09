"""Undo and redo without limit: every change of the job file, kept on disk beside it.

One line of JSON per change in ``history.jsonl``, written and flushed *before* the job file is replaced. A crash between the
two leaves a line whose change never happened; it is recognised because the job file still has the revision from before.
Steps that are undone stay in the file: an undo is itself a line. A step is only undone where the values it left are still
there, so a change made elsewhere (another program, a text editor) is never overwritten.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from phototemplate.atomic import sync_folder
from phototemplate.web.refusals import Refused

JOURNAL_FILE = "history.jsonl"
Table = Mapping[str, Any]
MISSING = "\x00missing"


@dataclass(frozen=True)
class Change:
    """One value that a step changed: a key of the job file, or one member (by id) of one of its lists."""

    key: str
    member: str | None
    before: Any
    after: Any
    order: tuple[list[str], list[str]] | None = None
    """Ids of the list before and after, where members came, went or moved"""


@dataclass
class Step:
    """One change of the job file as the user made it."""

    label: dict[str, Any]
    changes: list[Change]
    number: int = 0
    done: bool = field(default=True, compare=False)


def differences(before: Table, after: Table) -> list[Change]:
    """What turns one job (as plain data) into another, as fine as the ids of its lists allow."""
    out: list[Change] = []
    for key in sorted({*before, *after}):
        a, b = before.get(key, MISSING), after.get(key, MISSING)
        if a == b:
            continue
        ids_a, ids_b = _ids(a), _ids(b)
        if ids_a is None or ids_b is None:
            out.append(Change(key, None, a, b))
            continue
        by_a, by_b = _by_id(a), _by_id(b)
        order = (ids_a, ids_b) if ids_a != ids_b else None
        changed = [i for i in dict.fromkeys([*ids_a, *ids_b]) if by_a.get(i, MISSING) != by_b.get(i, MISSING)]
        out += [Change(key, i, by_a.get(i, MISSING), by_b.get(i, MISSING), order) for i in changed]
        if not changed:
            out.append(Change(key, "", MISSING, MISSING, order))
    return out


def apply_changes(table: Table, changes: list[Change], back: bool) -> dict[str, Any]:
    """The job with a step undone (``back``) or done again.

    Raises ``Refused`` where something that the step touched is no longer as the step left it.
    """
    out: dict[str, Any] = json.loads(json.dumps(table))
    for change in changes:
        was, to = (change.after, change.before) if back else (change.before, change.after)
        if change.member is None:
            if out.get(change.key, MISSING) != was:
                raise Refused("changed-elsewhere", 409, name=change.key, list=change.key)
            if to == MISSING:
                out.pop(change.key, None)
            else:
                out[change.key] = to
            continue
        members = _by_id(out.get(change.key, []))
        if change.member and members.get(change.member, MISSING) != was:
            raise Refused("changed-elsewhere", 409, name=change.member, list=change.key)
        if change.member:
            if to == MISSING:
                members.pop(change.member, None)
            else:
                members[change.member] = to
        ids = list(members)
        if change.order is not None:
            wanted = change.order[0] if back else change.order[1]
            place = {i: k for k, i in enumerate(wanted)}
            ids.sort(key=lambda i: place.get(i, len(place)))
        out[change.key] = [members[i] for i in ids]
        if not out[change.key]:
            del out[change.key]
    return out


def _ids(value: Any) -> list[str] | None:
    """Ids of a list of tables, or None where it is something else."""
    if value == MISSING:
        return []
    if not isinstance(value, list) or not all(isinstance(m, dict) and isinstance(m.get("id"), str) for m in value):
        return None
    ids = [m["id"] for m in value]
    return ids if len(set(ids)) == len(ids) else None


def _by_id(value: Any) -> dict[str, Any]:
    return {} if value == MISSING else {m["id"]: m for m in value}


class Journal:
    """The steps of one job folder."""

    def __init__(self, folder: Path, revision: str) -> None:
        self.path = folder / JOURNAL_FILE
        self.steps: list[Step] = []
        self._undone: list[Step] = []
        self._number = 0
        self._read(revision)

    @property
    def undoable(self) -> Step | None:
        """The step that undo takes back."""
        return self.steps[-1] if self.steps else None

    @property
    def redoable(self) -> Step | None:
        """The step that redo does again."""
        return self._undone[-1] if self._undone else None

    def note(self, kind: str, step: Step, before_revision: str) -> int:
        """Write a line ahead of the change it speaks of; returns its number."""
        self._number += 1
        line: dict[str, Any] = {"n": self._number, "kind": kind, "from": before_revision}
        if kind == "do":
            line |= {"label": step.label, "changes": [_packed(c) for c in step.changes]}
        self._append(line)
        return self._number

    def settle(self, kind: str, step: Step) -> None:
        """The change has happened."""
        if kind == "do":
            step.number = self._number
            self.steps.append(step)
            self._undone.clear()
        elif kind == "undo":
            self._undone.append(self.steps.pop())
        else:
            self.steps.append(self._undone.pop())

    def withdraw(self, number: int) -> None:
        """The change did not happen after all."""
        self._append({"n": number, "kind": "void"})

    def _append(self, line: dict[str, Any]) -> None:
        data = (json.dumps(line, separators=(",", ":")) + "\n").encode()
        try:
            new = not self.path.exists()
            with self.path.open("ab") as file:
                # a line cut short by a crash must not swallow this one
                if file.tell() and not self._ends_well():
                    data = b"\n" + data
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            if new:
                sync_folder(self.path.parent)
        except OSError as exc:
            raise Refused("not-noted", 507, detail=exc.strerror or "") from exc

    def _ends_well(self) -> bool:
        with self.path.open("rb") as file:
            file.seek(-1, os.SEEK_END)
            return file.read(1) == b"\n"

    def _read(self, revision: str) -> None:
        if not self.path.exists():
            return
        lines = []
        for raw in self.path.read_bytes().splitlines():
            try:
                line = json.loads(raw)
                lines.append((int(line["n"]), str(line["kind"]), line))
            except (ValueError, KeyError, TypeError, OverflowError, RecursionError):
                continue  # cut short by a crash: its change was never made
        void = {n for n, kind, _ in lines if kind == "void"}
        self._number = max((n for n, _, _ in lines), default=0)
        lines = [entry for entry in lines if entry[1] != "void" and entry[0] not in void]
        if lines and lines[-1][2].get("from") == revision:
            self.withdraw(lines.pop()[0])
        for n, kind, line in lines:
            if kind == "do":
                try:
                    step = Step(dict(line["label"]), [_unpacked(c) for c in line["changes"]], n)
                except (KeyError, TypeError, ValueError, IndexError):
                    continue
                self.steps.append(step)
                self._undone.clear()
            elif kind == "undo" and self.steps:
                self._undone.append(self.steps.pop())
            elif kind == "redo" and self._undone:
                self.steps.append(self._undone.pop())


def _packed(c: Change) -> list[Any]:
    return [c.key, c.member, c.before, c.after, c.order]


def _unpacked(packed: list[Any]) -> Change:
    key, member, before, after, order = packed
    if not isinstance(key, str) or not isinstance(member, str | None):
        raise ValueError(packed)  # no step that a version of this program has written
    return Change(key, member, before, after, None if order is None else (list(order[0]), list(order[1])))
