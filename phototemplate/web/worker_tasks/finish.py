"""What is handed out: the results as files, and the whole job as one archive that rebuilds them elsewhere."""

from __future__ import annotations

import zipfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from phototemplate.atomic import atomic_path
from phototemplate.constants import MANIFEST
from phototemplate.job import HANDED_OUT, JOB_FILE, Job, load_job
from phototemplate.output.formats import FORMATS
from phototemplate.output.revision import read_handed_out
from phototemplate.progress import Progress
from phototemplate.result_set import current_set
from phototemplate.results import Wanted, hand_out, measure_job, write_drawn, write_results
from phototemplate.web.journal import JOURNAL_FILE
from phototemplate.web.worker_tasks.drawn import is_drawn

READ_ME = """\
This folder rebuilds the result: unpack it, then run

    phototemplate measure FOLDER      (or: phototemplate app FOLDER)

photos/    the photos as they came from the phone
job.toml   everything that was decided: known lengths, edges, loops, pieces
results/   what was written when this archive was made
"""


def finish(memory: Any, tell: Progress, job_folder: str) -> dict[str, Any]:
    """Write every result of the job as it is now, exactly as the command line does; name -> path."""
    job = load_job(Path(job_folder))
    if is_drawn(job):
        _, written = write_drawn(job)
        return _handed(job, written, False, "")
    m = memory.measurement
    if m is None or memory.job is None or memory.job.revision != job.revision:
        m = measure_job(job, tell, memory.memo, memory.store)
    formats = tuple(f.name for f in FORMATS if f.of == "measurement" or not m.outline.unscaled)
    outcome = write_results(job, m, Wanted(formats), progress=tell, judgements=memory.judgements_of(m))
    return _handed(job, outcome.written, m.outline.unscaled, "" if outcome.doubt is None else str(outcome.doubt))


def _handed(job: Job, written: Mapping[str, Path], unscaled: bool, trouble: str) -> dict[str, Any]:
    files = {name: str(path) for name, path in written.items()}
    return {"files": files, "unscaled": unscaled, "revision": job.revision, "trouble": trouble}


def make_revision(memory: Any, tell: Progress, job_folder: str, to: str) -> dict[str, Any]:
    """Keep the pieces as written as a revision that somebody has in hand. Raises ``InputError`` as ``hand_out`` does."""
    del memory, tell
    job = load_job(Path(job_folder))
    hand_out(job, to.strip())
    return {"files": {}, "revisions": _revisions(job)}


def revisions(memory: Any, tell: Progress, job_folder: str) -> list[dict[str, str]]:
    """What was handed out so far, oldest first."""
    del memory, tell
    return _revisions(load_job(Path(job_folder)))


def _revisions(job: Job) -> list[dict[str, str]]:
    states = [read_handed_out(path) for path in job.handed_out_paths()]
    return [{"revision": s.revision, "date": s.date, "to": s.to} for s in states]


def archive(memory: Any, tell: Progress, job_folder: str, to: str) -> str:
    """Pack photos, job file and results into a zip file."""
    del memory
    job = load_job(Path(job_folder))
    photos = job.photo_paths()
    inside = [(p, f"photos/{p.name}") for p in photos]
    inside += [(job.folder / name, name) for name in (JOB_FILE, JOURNAL_FILE) if (job.folder / name).is_file()]
    present = current_set(job)
    if present is not None:  # results of another state of the job are not handed out with it
        inside += [(p, f"results/{p.name}") for p in [*present.paths(), job.results / MANIFEST]]
    inside += [(p, f"{HANDED_OUT}/{p.name}") for p in job.handed_out_paths()]
    inside += [(p, str(p.relative_to(job.folder))) for p in _drawings(job)]
    with atomic_path(to) as part, zipfile.ZipFile(part, "w", zipfile.ZIP_STORED, strict_timestamps=False) as file:
        file.writestr(zipfile.ZipInfo("README.txt"), READ_ME)  # of 1980: no clock is too early for that
        for k, (path, name) in enumerate(inside):
            # photos are packed already; text shrinks
            text = path.suffix in (".toml", ".json", ".jsonl", ".html", ".dxf", ".svg", ".csv")
            file.write(path, name, zipfile.ZIP_DEFLATED if text else zipfile.ZIP_STORED)
            tell("archive", (k + 1) / len(inside))
    return to


def _drawings(job: Job) -> list[Path]:
    """Drawings that cut-outs and drawn shapes refer to, where they lie inside the job folder."""
    root = job.folder.resolve()
    named = [c.file for piece in job.file.pieces for c in piece.cutouts] + [d.file for d in job.file.drawn]
    paths = [(job.folder / name).resolve() for name in named if name is not None]
    return list(dict.fromkeys(job.folder / p.relative_to(root) for p in paths if p.is_file() and p.is_relative_to(root)))
