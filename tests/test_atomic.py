"""A file is written whole or not at all, and the error says what to do."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
from pathlib import Path

import pytest

from phototemplate.atomic import atomic_path, write_bytes_atomic, write_text_atomic
from phototemplate.errors import OutputError


def test_writes_and_replaces(tmp_path: Path) -> None:
    target = tmp_path / "a.txt"
    write_text_atomic(target, "Größe 1 ½ in\n")
    assert target.read_text(encoding="utf-8") == "Größe 1 ½ in\n"
    write_bytes_atomic(target, b"two")
    assert target.read_bytes() == b"two"
    assert [p.name for p in tmp_path.iterdir()] == ["a.txt"]


@pytest.mark.skipif(os.name == "nt", reason="permissions of POSIX")
def test_permissions_follow_umask_and_earlier_file(tmp_path: Path) -> None:
    target = tmp_path / "a.txt"
    plain = tmp_path / "plain"
    plain.write_text("x")
    write_text_atomic(target, "x")
    assert target.stat().st_mode == plain.stat().st_mode
    target.chmod(0o640)
    write_text_atomic(target, "y")
    assert target.stat().st_mode & 0o777 == 0o640


def test_any_error_keeps_the_old_file(tmp_path: Path) -> None:
    target = tmp_path / "a.dxf"
    target.write_text("old")
    with pytest.raises(ZeroDivisionError), atomic_path(target) as part:  # noqa: PT012
        assert part.suffix == ".dxf"
        assert part.parent == tmp_path
        part.write_text("half")
        raise ZeroDivisionError
    assert target.read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["a.dxf"]


def test_disk_full_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    target = tmp_path / "a.txt"
    target.write_text("old")

    def full(_handle: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OutputError, match=r"a\.txt could not be written.*unchanged.*disk is full; free some space"):
        write_text_atomic(target, "new")
    assert target.read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["a.txt"]


@pytest.mark.skipif(os.name == "nt", reason="needs resource limits of POSIX")
def test_real_write_failure_half_way(tmp_path: Path) -> None:
    """The system itself refuses the write after 64 KiB (file size limit), as a full disk does."""
    target = tmp_path / "a.txt"
    target.write_text("old")
    code = (
        "import resource, sys; resource.setrlimit(resource.RLIMIT_FSIZE, (65536, 65536))\n"
        "from phototemplate.atomic import write_bytes_atomic\n"
        "from phototemplate.errors import OutputError\n"
        "try: write_bytes_atomic(sys.argv[1], b'x' * 1_000_000)\n"
        "except OutputError as error: print(error); sys.exit(4)\n"
    )
    run = subprocess.run([sys.executable, "-c", code, str(target)], capture_output=True, text=True, check=False)
    assert run.returncode == 4, run.stderr
    assert "a.txt" in run.stdout
    assert "choose another disk" in run.stdout
    assert target.read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["a.txt"]


def test_missing_folder_and_folder_in_the_way(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="create the folder"):
        write_text_atomic(tmp_path / "no" / "a.txt", "x")
    (tmp_path / "b").mkdir()
    with pytest.raises(OutputError, match="a folder has that name"):
        write_text_atomic(tmp_path / "b", "x")
    assert (tmp_path / "b").is_dir()
