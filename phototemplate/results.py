"""Measure a job and write what came out: ``outline.dxf``, ``result.json``, ``report.html``."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Literal, get_args

from phototemplate.capture.store import PhotoStore
from phototemplate.errors import InputError, MeasureError
from phototemplate.inputs import read_photos
from phototemplate.job import Job, LengthSpec
from phototemplate.memo import Memo
from phototemplate.model import Measurement
from phototemplate.network.rectify import rectify
from phototemplate.output.dxf import write_dxf
from phototemplate.output.report import TopPicture, write_report
from phototemplate.output.result_json import write_result_json
from phototemplate.pipeline import measure
from phototemplate.profiles import load_profiles, match_profiles
from phototemplate.progress import Clock, Progress, quiet
from phototemplate.template.outline_drawing import outline_drawing

DxfVersion = Literal["R2010", "R12"]
Unit = Literal["mm", "in"]


def measure_job(
    job: Job, progress: Progress = quiet, memo: Memo | None = None, store: PhotoStore | None = None
) -> Measurement:
    """``pipeline.measure`` with the camera profiles of this machine as priors."""
    photos, _ = read_photos(job)
    profiles, findings = match_profiles(photos, load_profiles())
    measurement = measure(job, profiles, progress, memo, store)
    return replace(measurement, findings=(*measurement.findings, *findings))


def measure_and_write(
    job: Job,
    *,
    bar: str | None = None,
    unscaled: bool = False,
    dxf_version: str = "R2010",
    units: str | None = None,
    progress: Progress = quiet,
) -> tuple[Measurement, dict[str, Path]]:
    """Measure and write every result into ``results/`` of the job; name -> path of what was written.

    ``bar`` gives the length between bar ends B01 and B02 to a job that knows none. Raises ``InputError`` for values that cannot
    be used, ``MeasureError`` where the photos do not allow an answer, or no length is known and ``unscaled`` is false (the
    other results are written all the same), ``OutputError`` where a file cannot be written (the earlier one stays).
    """
    if dxf_version not in get_args(DxfVersion):
        raise InputError(f"There is no DXF version {dxf_version!r} here; choose R2010 or R12.")
    if units is not None and units not in get_args(Unit):
        raise InputError(f"The drawing's unit can be mm or in, not {units!r}.")
    if bar is not None:
        job = _with_bar(job, bar)
    measurement = measure_job(job, progress)
    written = write_results(job, measurement, unscaled, dxf_version, units, progress)  # type: ignore[arg-type]
    if "dxf" not in written:
        raise MeasureError(
            f"No known length, so the shape of {job.name} has no scale and no DXF was written; add a [[lengths]] table to "
            f"job.toml, or give --bar, or write the bare shape with --unscaled. The report is in {written['report']}."
        )
    return measurement, written


def write_results(
    job: Job,
    measurement: Measurement,
    unscaled: bool = False,
    dxf_version: DxfVersion = "R2010",
    units: Unit | None = None,
    progress: Progress = quiet,
) -> dict[str, Path]:
    """Write what a measurement allows. The DXF of a shape without scale only where ``unscaled`` asks for it."""
    clock = Clock()
    folder = job.results
    folder.mkdir(parents=True, exist_ok=True)
    unit = units or job.file.units
    outline = measurement.outline
    written: dict[str, Path] = {}
    with clock("write"):
        written["result"] = write_result_json(measurement, folder / "result.json")
        if unscaled or not outline.unscaled:
            name = "outline-unscaled.dxf" if outline.unscaled else "outline.dxf"
            drawing = outline_drawing(outline, measurement.job_name, job.file.settings.output.chord_tolerance_mm)
            warnings = [f"{f.where}: {f.message}" for f in measurement.findings if f.severity == "serious"]
            written["dxf"] = write_dxf(
                drawing, folder / name, version=dxf_version, unit=unit, unscaled=outline.unscaled, warnings=warnings
            )
    with clock("report"):
        progress("report", 0.0)
        written["report"] = write_report(
            measurement,
            folder / "report.html",
            settings=job.file.settings.output,
            tolerance_mm=job.file.tolerance,
            unit=unit,
            top_picture=_top_picture(measurement),
            progress=progress,
        )
        progress("report", 1.0)
    return written


def _with_bar(job: Job, bar: str) -> Job:
    length = LengthSpec.model_validate({"kind": "bar", "from": "B01", "to": "B02", "value": bar})
    return replace(job, file=job.file.model_copy(update={"lengths": [*job.file.lengths, length]}))


def _top_picture(measurement: Measurement) -> TopPicture | None:
    raise NotImplementedError(measurement, rectify)
