"""Many jobs: failures stay where they are, finished ones are not run again, a killed worker costs one job only."""

from __future__ import annotations

import csv
import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from phototemplate.cli import app
from phototemplate.errors import InputError, MeasureError
from phototemplate.studies import batch
from phototemplate.studies.batch import Outcome, finished, run_batch, write_table

EXPECTED = {"good": "done", "refused": "failed", "fault": "failed", "other": "done"}


def work(job: Path) -> dict[str, Any]:
    """What the folder's name asks for."""
    if job.name.startswith("refused"):
        raise MeasureError("No photo can be read; take them again.")
    if job.name.startswith("fault"):
        raise ZeroDivisionError("x")
    if job.name.startswith("killed"):
        os.kill(os.getpid(), signal.SIGKILL)
    if job.name.startswith("slow"):
        (job / "worker").write_text(str(os.getpid()))
        time.sleep(120)
    count = job / "results" / "runs"
    count.parent.mkdir(exist_ok=True)
    count.write_text(str(int(count.read_text()) + 1 if count.exists() else 1))
    return {"edges": 4, "largest_U_mm": 1.25}


@pytest.fixture
def jobs(tmp_path: Path) -> list[Path]:
    out = []
    for name in ("good", "refused", "fault", "other"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "job.toml").write_text("format = 1\n")
        out.append(tmp_path / name)
    return out


def test_one_bad_job_never_stops_the_rest(jobs: list[Path], tmp_path: Path) -> None:
    outcomes = {o.job.name: o for o in run_batch(jobs, work, workers=2)}
    assert {n: o.state for n, o in outcomes.items()} == EXPECTED
    assert outcomes["refused"].message == "No photo can be read; take them again."
    assert "ZeroDivisionError" in outcomes["fault"].message
    rows = list(csv.DictReader(write_table(list(outcomes.values()), tmp_path / "t.csv").open(encoding="utf-8", newline="")))
    assert len(rows) == 4
    assert next(r for r in rows if r["job"].endswith("good"))["largest_U_mm"] == "1.25"


def test_the_command_tells_pace_and_writes_the_table_as_jobs_end(
    jobs: list[Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    table, seen = tmp_path / "t.csv", []

    def slowly(places: list[Path], *_: object) -> Iterator[Outcome]:
        for n, job in enumerate(places):
            seen.append(table.read_text(encoding="utf-8").count("\n") - 1)
            now[0] += 30.0
            yield Outcome(job, "failed" if n == 1 else "done", 30.0, "No photo can be read." if n == 1 else "", {"edges": 4})

    now = [1000.0]
    monkeypatch.setattr(batch, "run_batch", slowly)
    monkeypatch.setattr(time, "monotonic", lambda: now[0])
    said = CliRunner().invoke(app, ["batch", *map(str, jobs), "--table", str(table)])
    assert said.exit_code == MeasureError.exit_code  # one failed
    assert seen == [0, 1, 2, 3]
    assert re.findall(r"\((\d of 4, [^)]*)\)", " ".join(said.output.split())) == [
        "1 of 4, 2 a minute, 2 min left", "2 of 4, 2 a minute, 1 min left", "3 of 4, 2 a minute, 30 s left",
        "4 of 4, 2 a minute, 0 s left",
    ]  # fmt: skip
    assert "3 of 4 jobs are finished" in said.output


def test_restart_goes_on(jobs: list[Path]) -> None:
    good = jobs[:1]
    assert next(run_batch(good, work, workers=1)).state == "done"
    again = next(run_batch(good, work, workers=1))
    assert again.state == "skipped"
    assert again.values == {"edges": 4, "largest_U_mm": 1.25}
    (good[0] / "job.toml").write_text("format = 1\nname = 'changed'\n")
    assert finished(good[0]) is None
    assert next(run_batch(good, work, workers=1)).state == "done"
    assert (good[0] / "results" / "runs").read_text() == "2"
    assert next(run_batch(good, work, workers=1, again=True)).state == "done"


@pytest.mark.skipif(os.name == "nt", reason="signals of POSIX")
def test_a_worker_that_dies(tmp_path: Path) -> None:
    folders = [tmp_path / n for n in ("killed", "good")]
    for folder in folders:
        folder.mkdir()
    states = {o.job.name: o.state for o in run_batch(folders, work, workers=1)}
    assert states == {"killed": "failed", "good": "done"}


@pytest.mark.skipif(os.name == "nt", reason="signals of POSIX")
def test_an_ended_batch_leaves_no_worker_behind(tmp_path: Path) -> None:
    """Ended by TERM while a job runs, as a machine that shuts down does."""
    (tmp_path / "slow").mkdir()
    code = f"""
from pathlib import Path
from phototemplate.studies.batch import run_batch
from tests.studies.test_batch import work
if __name__ == "__main__":
    list(run_batch([Path({str(tmp_path / "slow")!r})], work, workers=1))
"""
    script = tmp_path / "batch.py"
    script.write_text(code)
    root = Path(__file__).parents[2]
    batch = subprocess.Popen([sys.executable, script], cwd=root, env={**os.environ, "PYTHONPATH": str(root)})
    mark = tmp_path / "slow" / "worker"
    end = time.monotonic() + 60
    while not (mark.exists() and mark.read_text()) and time.monotonic() < end:
        time.sleep(0.05)
    worker = int(mark.read_text())
    batch.terminate()
    batch.wait(20)
    while time.monotonic() < end:
        try:
            os.kill(worker, 0)
        except ProcessLookupError:
            break
        time.sleep(0.1)
    else:
        pytest.fail("the worker goes on")


def test_nothing_to_do() -> None:
    with pytest.raises(InputError, match="No job folder"):
        list(run_batch([], work))


def test_on_a_cluster(jobs: list[Path]) -> None:
    distributed = pytest.importorskip("distributed", reason="the extra [cluster] is not installed")
    where = {"protocol": "tcp", "host": "127.0.0.1", "dashboard_address": None}
    with distributed.LocalCluster(n_workers=1, processes=False, **where) as cluster:
        outcomes = {o.job.name: o.state for o in run_batch(jobs, work, scheduler=cluster.scheduler_address)}
    assert outcomes == EXPECTED
