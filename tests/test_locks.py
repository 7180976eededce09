"""One program at a time: on one machine, among machines whose disk passes no locks on, after a machine that broke down."""

from __future__ import annotations

import os
import sys
import time
from functools import partial
from pathlib import Path

import pytest

from phototemplate import locks
from phototemplate.constants import LEASE_S
from phototemplate.errors import JobBusyError
from phototemplate.locks import held, held_by_another

needs_fork = pytest.mark.skipif(sys.platform == "win32", reason="needs fork")


def mark(folder: Path) -> Path:
    return folder / ".lock-held"


def as_another(monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    """This process as one of another machine, on a disk that passes no locks on (``nolock`` of nfs(5))."""
    monkeypatch.setattr(locks, "machine", lambda: name)
    monkeypatch.setattr(locks, "take_lock", lambda file, wait=False: "taken")


def test_the_second_is_told_who_and_the_next_one_may(tmp_path: Path) -> None:
    with held(tmp_path / ".lock"):
        with pytest.raises(JobBusyError, match=rf"process {os.getpid()}"), held(tmp_path / ".lock"):
            pass
        assert held_by_another(tmp_path / ".lock") == ""
    with held(tmp_path / ".lock"):
        assert mark(tmp_path).exists()
    assert not mark(tmp_path).exists()


def test_another_machine_is_seen_where_the_disk_passes_no_locks_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with held(tmp_path / ".lock"):
        as_another(monkeypatch, "b")
        with pytest.raises(JobBusyError), held(tmp_path / ".lock"):
            pass
        old = time.time() - LEASE_S - 5
        os.utime(mark(tmp_path), (old, old))  # that machine broke down
        with held(tmp_path / ".lock"):
            assert mark(tmp_path).read_text().startswith("b\n")
            monkeypatch.undo()
            assert "process" in held_by_another(tmp_path / ".lock")  # and wakes up again: the folder is not its own any more
            as_another(monkeypatch, "b")


def test_what_a_killed_program_of_this_machine_left_holds_nobody_up(tmp_path: Path) -> None:
    with held(tmp_path / ".lock"):
        text = mark(tmp_path).read_text()
    mark(tmp_path).write_text(text)
    with held(tmp_path / ".lock"):
        pass


def test_a_disk_without_locks_has_marks_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(locks, "take_lock", lambda file, wait=False: "none")
    with held(tmp_path / ".lock"), pytest.raises(JobBusyError), held(tmp_path / ".lock"):
        pass


@needs_fork
def test_many_on_many_machines_come_one_after_another(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from tests.bench._fault_kills import _all_at_once

    (tmp_path / "n").write_text("0")

    def count(name: str) -> None:
        as_another(monkeypatch, name)
        for _ in range(20):
            with held(tmp_path / ".lock", wait=True):
                n = int((tmp_path / "n").read_text())
                time.sleep(0.001)
                (tmp_path / "n").write_text(str(n + 1))

    assert _all_at_once([partial(count, name) for name in "abcd"]) == [0] * 4
    assert (tmp_path / "n").read_text() == "80"
