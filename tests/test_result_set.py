"""Results are one set: never mixed, never of another state of the job, and one program at a time makes them."""

from __future__ import annotations

import contextlib
import os
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from phototemplate import results
from phototemplate.constants import MANIFEST
from phototemplate.errors import InputError, MeasureError, OutputError
from phototemplate.job import Job, load_job
from phototemplate.result_set import current_set, inputs_of, new_set, read_set, recover, working_on
from phototemplate.results import Wanted, measure_and_write, write_results
from tests.output.samples import measurement

NOTHING: frozenset[str] = frozenset()


@pytest.fixture
def job(tmp_path: Path) -> Job:
    (tmp_path / "photos").mkdir()
    for name in ("a.jpg", "b.jpg"):
        (tmp_path / "photos" / name).write_bytes(name.encode())
    (tmp_path / "job.toml").write_text('name = "kitchen"\nunits = "mm"\n')
    return load_job(tmp_path)


def write(job: Job, *names: str, text: str = "x") -> None:
    with working_on(job), new_set(job, inputs_of(job), NOTHING) as folder:
        for name in names:
            (folder / name).write_text(text)


def names(job: Job) -> set[str]:
    return {p.name for p in job.results.iterdir()}


def test_what_is_no_longer_written_does_not_stay_and_what_others_wrote_does(job: Job) -> None:
    write(job, "outline.dxf", "pieces.dxf")
    (job.results / "wall.html").write_text("of another command")
    (job.results / ".view").mkdir()
    (job.results / ".view" / "thumb.jpg").write_bytes(b"x")
    write(job, "outline.dxf", text="new")
    assert names(job) == {"outline.dxf", MANIFEST, "wall.html", ".view"}
    assert (job.results / ".view" / "thumb.jpg").exists()
    found = current_set(job)
    assert found is not None
    assert [p.name for p in found.paths()] == ["outline.dxf"]
    assert not list(job.folder.glob(".results-*"))


def test_a_set_that_fails_leaves_the_earlier_one(job: Job) -> None:
    write(job, "outline.dxf", text="old")
    with contextlib.suppress(ZeroDivisionError), new_set(job, {}, NOTHING) as folder:
        (folder / "outline.dxf").write_text("new")
        raise ZeroDivisionError
    assert (job.results / "outline.dxf").read_text() == "old"
    assert current_set(job) is not None
    assert not list(job.folder.glob(".results-*"))


def test_files_of_a_program_without_manifests_go_too(job: Job) -> None:
    job.results.mkdir()
    (job.results / "pieces.dxf").write_text("of another scale")
    with new_set(job, {}, results.SET_FILES) as folder:
        (folder / "outline.dxf").write_text("new")
    assert names(job) == {"outline.dxf", MANIFEST}
    assert {"result.json", "report.html", "outline.dxf", "pieces-unscaled.dxf", "outline-edges.csv"} <= results.SET_FILES


@pytest.mark.parametrize("change", ["photo", "another photo", "one photo less", "job file", "manifest"])
def test_a_set_of_another_state_is_not_offered(job: Job, change: str) -> None:
    write(job, "outline.dxf")
    assert current_set(load_job(job.folder)) is not None
    photo = job.folder / "photos" / "a.jpg"
    if change == "photo":
        photo.write_bytes(b"other")
    elif change == "another photo":
        photo.with_name("c.jpg").write_bytes(b"c")
    elif change == "one photo less":
        photo.unlink()
    elif change == "job file":
        (job.folder / "job.toml").write_text('name = "kitchen"\nunits = "in"\n')
    else:
        (job.results / MANIFEST).write_text("[]")
    assert current_set(load_job(job.folder)) is None


def test_a_copied_job_folder_keeps_its_set(job: Job) -> None:
    """Copying changes the times of files, not what is in them; a file of the set that was changed since is not offered."""
    write(job, "outline.dxf", "report.html")
    os.utime(job.folder / "photos" / "a.jpg", (1, 1))
    found = current_set(job)
    assert found is not None
    (job.results / "outline.dxf").write_text("by hand")
    assert [p.name for p in found.paths()] == ["report.html"]


@pytest.mark.skipif(sys.platform == "win32", reason="needs fork")
@pytest.mark.parametrize("killed_before", range(1, 9))
def test_killed_at_any_moment_the_old_set_or_the_new_one_is_there_whole(job: Job, killed_before: int) -> None:
    write(job, "outline.dxf", "result.json", text="old")
    child = os.fork()
    if not child:  # ends at the n-th change of a name, as a killed process does: nothing is cleaned up
        left = [killed_before]

        def counted(change):
            def changed(*arguments, **more):
                left[0] -= 1
                if not left[0]:
                    os._exit(9)
                return change(*arguments, **more)

            return changed

        for name in ("rename", "replace", "mkdir"):
            setattr(Path, name, counted(getattr(Path, name)))
        write(job, "outline.dxf", "result.json", text="new")
        os._exit(0)
    os.waitpid(child, 0)
    recover(job.folder)
    texts = {(job.results / name).read_text() for name in ("outline.dxf", "result.json")}
    assert texts in ({"old"}, {"new"})
    assert current_set(job) is not None
    assert not list(job.folder.glob(".results-*"))


def test_one_program_at_a_time(job: Job) -> None:
    with working_on(job):
        with pytest.raises(InputError, match=f"process {os.getpid()}"), working_on(job):
            pass
        with pytest.raises(InputError, match="is being measured by"):
            write_results(job, measurement())
    write_results(job, measurement(), Wanted(("result",)))  # the lock was let go
    assert read_set(job.results) is not None


def test_a_file_in_place_of_the_folder_is_said(job: Job) -> None:
    job.results.write_text("a file")
    with pytest.raises(OutputError, match="is a file where the folder of results belongs"):
        write(job, "outline.dxf")


def test_what_is_refused_takes_its_drawings_with_it(job: Job) -> None:
    """Drawings of the old scale do not stay beside a result without scale."""
    write_results(job, measurement(), Wanted(("result", "dxf")))
    assert {"result.json", "outline.dxf"} <= names(job)
    with pytest.raises(MeasureError, match="no scale"):
        write_results(job, measurement(unscaled=True), Wanted(("result", "dxf")))
    assert names(job) == {"result.json", MANIFEST}


def test_a_job_that_can_no_longer_be_measured_has_no_results(job: Job, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(results, "measure_job", lambda job, progress: measurement())
    out = measure_and_write(job, Wanted(("result", "dxf")))
    assert {p.name for p in out.written.values()} == {"result.json", "outline.dxf"}
    assert all(p.parent == job.results and p.exists() for p in out.written.values())

    def refuse(job: Job, progress: object) -> None:
        raise MeasureError("No photo could be placed; take them again.")

    monkeypatch.setattr(results, "measure_job", refuse)
    with pytest.raises(MeasureError):
        measure_and_write(replace(job))
    assert not any(job.results.iterdir())
