"""Jobs on object storage: one program at a time, results whole or not offered, nothing outside of the folder touched."""

from __future__ import annotations

import contextlib
import json
import secrets
import sys
import threading
import time
from datetime import timedelta
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from phototemplate.constants import LEASE_S, MANIFEST
from phototemplate.errors import InputError, InstallationError, JobBusyError, MeasureError
from phototemplate.job import load_job
from phototemplate.result_set import inputs_of, new_set, read_set, working_on
from phototemplate.stored_folder import CLAIM, StoredFolder, folders_at
from phototemplate.studies.batch import finished, run_batch

fsspec = pytest.importorskip("fsspec", reason="the extra [storage] is not installed")


@pytest.fixture(params=["memory", "file"])
def folder(request: pytest.FixtureRequest, tmp_path: Path) -> StoredFolder:
    """A job as a service keeps it."""
    top = f"memory://{secrets.token_hex(4)}" if request.param == "memory" else f"file://{tmp_path}"
    storage, root = fsspec.url_to_fs(f"{top}/jobs/smith")
    storage.makedirs(f"{root}/photos")
    for name in ("a.jpg", "b.jpg"):
        storage.pipe_file(f"{root}/photos/{name}", name.encode())
    storage.pipe_file(f"{root}/job.toml", b'name = "k"\n')
    return StoredFolder(f"{top}/jobs/smith")


def store(folder: StoredFolder) -> tuple[Any, str]:
    storage, root = fsspec.url_to_fs(folder.address)
    return storage, root.rstrip("/")


def names(folder: StoredFolder, under: str = "") -> set[str]:
    storage, root = store(folder)
    return {p.rsplit("/", 1)[-1] for p in storage.find(f"{root}{under}")}


def write(path: Path, *files: str, text: str = "x") -> dict[str, Any]:
    """What measuring leaves: a set of results."""
    job = load_job(path)
    with working_on(job), new_set(job, inputs_of(job), frozenset()) as aside:
        for name in files:
            (aside / name).write_text(text)
    return {"edges": len(files)}


def test_it_is_fetched_worked_on_and_put_back_as_one_set(folder: StoredFolder, tmp_path: Path) -> None:
    with folder.here() as path:
        assert [p.name for p in load_job(path).photo_paths()] == ["a.jpg", "b.jpg"]
        write(path, "outline.dxf", "pieces.dxf")
    with folder.here() as path:
        write(path, "outline.dxf", text="new")
    assert names(folder, "/results") == {"outline.dxf", MANIFEST}  # what the new set has not is gone
    storage, root = store(folder)
    storage.get(f"{root}/results", str(tmp_path / "got"), recursive=True)
    found = read_set(tmp_path / "got")
    assert found is not None
    assert [p.read_text() for p in found.paths()] == ["new"]
    assert not [n for n in names(folder) if n.startswith(CLAIM)]


def test_a_refusal_takes_away_what_is_no_longer_true(folder: StoredFolder) -> None:
    with folder.here() as path:
        write(path, "outline.dxf")
    with pytest.raises(MeasureError), folder.here():
        raise MeasureError("No photo can be read; take them again.")
    assert names(folder, "/results") == set()


def test_a_fault_leaves_the_earlier_set(folder: StoredFolder) -> None:
    with folder.here() as path:
        write(path, "outline.dxf")
    with contextlib.suppress(ZeroDivisionError), folder.here() as path:
        write(path, "other.dxf")
        raise ZeroDivisionError
    assert names(folder, "/results") == {"outline.dxf", MANIFEST}


def test_broken_off_while_putting_back_there_is_no_set(folder: StoredFolder, monkeypatch: pytest.MonkeyPatch) -> None:
    """At every single change: what a reader finds is whole, or it finds no manifest."""
    for at in range(1, 9):
        with folder.here() as path:
            write(path, "a.dxf", "b.dxf", text="old")
        storage, root = store(folder)
        count = [0]

        def counted(change: Any, *arguments: Any, count: list[int] = count, at: int = at, **more: Any) -> Any:
            count[0] += 1
            if count[0] >= at:
                raise OSError(5, "broken off")
            return change(*arguments, **more)

        with contextlib.suppress(OSError), monkeypatch.context() as patch, folder.here() as path:
            write(path, "a.dxf", "c.dxf", text="new")
            for what in ("put_file", "rm_file", "pipe_file"):
                patch.setattr(type(storage), what, partial(counted, getattr(storage, what)))
        assert (count[0] >= at) == (at < 8)
        if MANIFEST in names(folder, "/results"):
            files = json.loads(storage.cat_file(f"{root}/results/{MANIFEST}"))["files"]
            assert {storage.cat_file(f"{root}/results/{n}") for n in files} in ({b"old"}, {b"new"})
        for claim in storage.glob(f"{root}/{CLAIM}*"):  # it could not be taken away either; nobody answers for it
            storage.rm_file(claim)


def test_the_second_is_told_who_works_and_a_dead_one_is_no_hindrance(
    folder: StoredFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    storage, root = store(folder)
    original = type(storage).modified
    place = folder.here()
    path = place.__enter__()
    with pytest.raises(JobBusyError, match="process"), folder.here():
        pass
    write(path, "outline.dxf", text="late")
    mine = next(p.rsplit("/", 1)[-1] for p in storage.ls(root, detail=False) if CLAIM in p)

    def long_ago(self: Any, path: str) -> Any:
        return original(self, path) - timedelta(seconds=(LEASE_S + 5) * path.endswith(mine))

    with monkeypatch.context() as patch:
        patch.setattr(type(storage), "modified", long_ago)
        with folder.here() as other:
            write(other, "outline.dxf", text="in time")
    with pytest.raises(JobBusyError, match="taken over"):
        place.__exit__(None, None, None)
    assert storage.cat_file(f"{root}/results/outline.dxf") == b"in time"


def test_of_many_at_once_one_works_at_a_time(folder: StoredFolder) -> None:
    inside, most, done = [0], [0], [0]
    guard = threading.Lock()

    def work() -> None:
        for _ in range(200):
            try:
                with folder.here():
                    with guard:
                        inside[0] += 1
                        most[0] = max(most[0], inside[0])
                    time.sleep(0.002)
                    with guard:
                        inside[0] -= 1
                        done[0] += 1
                return
            except JobBusyError:
                time.sleep(0.001 * secrets.randbelow(20))

    threads = [threading.Thread(target=work) for _ in range(5)]
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    assert (most[0], done[0]) == (1, 5)


def test_a_batch_takes_addresses_and_goes_on_where_it_ended(tmp_path: Path) -> None:
    for name in ("a", "b"):
        (tmp_path / name / "photos").mkdir(parents=True)
        (tmp_path / name / "photos" / "x.jpg").write_bytes(b"x")
    (tmp_path / "no job.txt").write_text("x")
    places = folders_at([f"file://{tmp_path}/*"])
    assert [p.name for p in places] == ["a", "b"]
    work = partial(write)
    assert {o.state for o in run_batch(places, work, workers=1)} == {"done"}
    assert finished(places[0]) == {"edges": 0}
    assert {o.state for o in run_batch(places, work, workers=1)} == {"skipped"}
    (tmp_path / "a" / "photos" / "x.jpg").write_bytes(b"another")
    assert sorted(o.state for o in run_batch(places, work, workers=1)) == ["done", "skipped"]


@pytest.mark.skipif(sys.platform == "win32", reason="such names are none there")
def test_no_name_leads_out_of_the_folder(folder: StoredFolder, monkeypatch: pytest.MonkeyPatch) -> None:
    storage, root = store(folder)
    original = type(storage).find
    for name in ("../../x", "photos/../../x", "..\\x"):
        def hostile(self: Any, path: str, name: str = name, **more: Any) -> Any:
            return {**original(self, path, **more), f"{root}/{name}": {"type": "file", "size": 1}}

        with monkeypatch.context() as patch:
            patch.setattr(type(storage), "find", hostile)
            with pytest.raises(InputError, match="name that no file"), folder.here():
                pass


def test_what_is_not_there_is_said() -> None:
    with pytest.raises(InputError, match="nothing at"), StoredFolder("memory://nowhere/at/all").here():
        pass
    with pytest.raises(InputError, match="no address"), StoredFolder("gopher://x/y").here():
        pass


def test_without_the_extra_the_sentence_names_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "fsspec.core", None)
    with pytest.raises(InstallationError, match=r"phototemplate\[storage\]"), StoredFolder("s3://b/x").here():
        pass
