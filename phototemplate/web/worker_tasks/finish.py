"""What is handed out: the results as files, and the whole job as one archive that rebuilds them elsewhere."""

from __future__ import annotations

import zipfile
from pathlib import Path
from typing import Any

from phototemplate.atomic import atomic_path
from phototemplate.job import JOB_FILE, load_job
from phototemplate.output.formats import FORMATS
from phototemplate.progress import Progress
from phototemplate.result_set import MANIFEST, current_set
from phototemplate.results import Wanted, measure_job, write_results
from phototemplate.web.journal import JOURNAL_FILE

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
    m = memory.measurement
    if m is None or memory.job is None or memory.job.revision != job.revision:
        m = measure_job(job, tell, memory.memo, memory.store)
    formats = tuple(f.name for f in FORMATS if f.of == "measurement" or not m.outline.unscaled)
    outcome = write_results(job, m, Wanted(formats), progress=tell, judgements=memory.judgements_of(m))
    return {
        "files": {name: str(path) for name, path in outcome.written.items()}, "unscaled": m.outline.unscaled,
        "revision": job.revision, "trouble": "" if outcome.doubt is None else str(outcome.doubt),
    }


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
    inside += [(p, str(p.relative_to(job.folder))) for p in _maker_files(job)]
    with atomic_path(to) as part, zipfile.ZipFile(part, "w", zipfile.ZIP_STORED, strict_timestamps=False) as file:
        file.writestr(zipfile.ZipInfo("README.txt"), READ_ME)  # of 1980: no clock is too early for that
        for k, (path, name) in enumerate(inside):
            # photos are packed already; text shrinks
            text = path.suffix in (".toml", ".json", ".jsonl", ".html", ".dxf", ".svg", ".csv")
            file.write(path, name, zipfile.ZIP_DEFLATED if text else zipfile.ZIP_STORED)
            tell("archive", (k + 1) / len(inside))
    return to


def _maker_files(job: Any) -> list[Path]:
    """Makers' drawings that cut-outs refer to, where they lie inside the job folder."""
    out = []
    root = job.folder.resolve()
    for piece in job.file.pieces:
        for cutout in piece.cutouts:
            if cutout.file is not None:
                path = (job.folder / cutout.file).resolve()
                if path.is_file() and path.is_relative_to(root):
                    out.append(job.folder / path.relative_to(root))
    return list(dict.fromkeys(out))
