"""Pieces on a photographed slab: the open job is that of the slab's photos, and ``slab.toml`` beside it is what is kept."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from phototemplate.job import load_job
from phototemplate.progress import Progress
from phototemplate.studies.slab_file import SLAB_FILE, SlabFile, read_slab_file
from phototemplate.toml_file import parsed, write_toml
from phototemplate.web.refusals import Refused
from phototemplate.web.worker_tasks.result_view import plain_json


def slab(memory: Any, tell: Progress, job_folder: str, file: dict[str, Any] | None = None) -> dict[str, Any]:
    """What ``slab.toml`` says, after ``file`` was written to it where it is given (lengths mm), and whose pieces can be laid.

    Raises ``InputError`` where the file cannot be used.
    """
    del memory, tell
    folder = Path(job_folder)
    if file is not None:
        write_toml(folder / SLAB_FILE, parsed(file, SlabFile, "What is said of the slab"), units=True)
    there = (folder / SLAB_FILE).is_file()
    return {"file": read_slab_file(folder).model_dump(mode="json") if there else None, "jobs": sorted(_with_pieces(folder))}


def make_slab(memory: Any, tell: Progress, job_folder: str, of: str) -> dict[str, Any]:
    """Lay the pieces of a neighbouring job on this slab. Raises ``Refused``, and as ``lay_on_slab`` does."""
    from phototemplate.job_studies import lay_on_slab

    del memory
    folder = Path(job_folder)
    others = _with_pieces(folder)
    if of not in others:
        raise Refused("no-such-job", 404, name=of)
    layout, measured, files = lay_on_slab(load_job(others[of]), load_job(folder), None, tell)
    x0, y0, x1, y1 = layout.slab.bounds
    answer: dict[str, Any] = plain_json({
        "size": [x1 - x0, y1 - y0], "size_U": [measured.length_U(x1 - x0), measured.length_U(y1 - y0)],
        "sheets": list(measured.sheets), "left_over": list(layout.left_over),
        "parted": [list(names) for names in layout.parted],
        "laid": [{"id": p.name, "at": list(p.outline.bounds[:2]), "with": list(p.with_)} for p in layout.laid],
    })
    return {"files": {f"slab {name}": str(path) for name, path in files.items()}, **answer}


def _with_pieces(folder: Path) -> dict[str, Path]:
    """Jobs beside this one whose pieces were written, by name."""
    beside = (p for p in folder.resolve().parent.iterdir() if p.name != folder.name and not p.name.startswith("."))
    return {p.name: p for p in beside if (p / "results" / "pieces.json").is_file()}
