"""Measure a job, build its pieces, and write what came out into ``results/``."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any, get_args

from phototemplate.atomic import write_text_atomic
from phototemplate.camera_profiles import load_profiles, match_profiles
from phototemplate.capture.photos import read_rgb
from phototemplate.capture.store import PhotoStore
from phototemplate.constants import TOP_VIEW_PHOTO_PX
from phototemplate.errors import Finding, InputError, MeasureError, PhototemplateError
from phototemplate.job import HANDED_OUT, Job, LengthSpec
from phototemplate.model import Measurement, PhotoMeta
from phototemplate.network.rectify import default_bounds, rectify
from phototemplate.output.assessment import Judgements
from phototemplate.output.dxf import DxfVersion, Unit
from phototemplate.output.formats import FORMATS, Material, write_formats
from phototemplate.output.report import TopPicture
from phototemplate.output.report.photos import PictureOf, panel_side
from phototemplate.output.report.pictures import Rgb, reduced
from phototemplate.output.report.words import tolerance_words
from phototemplate.output.revision import HandedOut, changes, next_revision, read_handed_out
from phototemplate.output.withheld import as_shown, without_uncertainties
from phototemplate.pipeline import measure
from phototemplate.progress import Progress, quiet
from phototemplate.result_set import current_set, inputs_of, new_set, retire, working_on
from phototemplate.settings import OutputSettings
from phototemplate.stage_cache import Memo
from phototemplate.stage_inputs import read_photos
from phototemplate.studies.assessment import judge
from phototemplate.template.drawn import no_outline
from phototemplate.template.lengths import LengthWords
from phototemplate.template.paper_sheets import TitleBlock
from phototemplate.template.piece_types import Template
from phototemplate.template.pieces import build_template

USUAL_FORMATS = ("result", "report", "dxf", "csv", "cut", "pieces")
"""Written unless other formats are asked for."""


SET_FILES = frozenset(
    f.file_name(subject, unscaled)
    for f in FORMATS
    for unscaled in (False, True)
    for subject in (("outline", "pieces") if f.of == "drawing" else (None,))
) | {"pieces-sizes.csv", "batch.json"}
"""Files that only sets of results consist of"""


@dataclass(frozen=True)
class Outcome:
    """What :func:`measure_and_write` leaves."""

    measurement: Measurement
    """As it may be shown: without uncertainties where they are withheld"""
    judgements: Judgements
    """Verdicts, budgets and reliability, as report and result have them"""
    written: dict[str, Path]
    """Format -> file"""
    template: Template | None = None
    """Finished pieces, where the job declares any"""
    doubt: PhototemplateError | None = None
    """Why a piece could not be built; everything else was written"""

    def whole(self) -> Outcome:
        """The outcome itself. Raises its doubt."""
        if self.doubt is not None:
            raise self.doubt
        return self


def measure_job(
    job: Job, progress: Progress = quiet, memo: Memo | None = None, store: PhotoStore | None = None
) -> Measurement:
    """``pipeline.measure`` with the camera profiles of this machine as priors.

    A profile that the photos contradict would bend the whole result: it is dropped, and the job measured without it.
    """
    memo = memo or Memo()
    photos, _ = read_photos(job, memo=memo)
    profiles, findings = match_profiles(photos, load_profiles())
    measurement = measure(job, profiles, progress, memo, store)
    wrong = [f for f in measurement.findings if f.code == "lens-differs" and f.where in profiles]
    if wrong:
        kept = {camera: profile for camera, profile in profiles.items() if camera not in {f.where for f in wrong}}
        measurement = measure(job, kept, progress, memo, store)
        findings += [Finding("profile-dropped", f.where, **f.facts) for f in wrong]
    return replace(measurement, findings=(*measurement.findings, *findings))


def template_of(job: Job, measurement: Measurement) -> Template | None:
    """Finished pieces of a job; None where it declares none.

    Raises ``InputError`` where a wish does not fit the measured shape; it names edge, value and the nearest value that works.
    """
    if not job.file.pieces:
        return None
    return build_template(measurement.outline, job.file.template_spec(), measurement.work_plane.heights, job.folder)


@dataclass(frozen=True)
class Wanted:
    """Which files are written, and how."""

    formats: Sequence[str] = USUAL_FORMATS
    """Names of ``output.formats``; empty: every one"""
    dxf_version: str = "R2010"
    """``R2010`` or ``R12``"""
    units: str | None = None
    """Unit of drawings and report, ``mm`` or ``in``; None: as the job says"""
    unscaled: bool = False
    """Draw the bare shape where no length is known"""
    print_only: str = ""
    """Corner ``front/left``, edge or piece that the full-size print is limited to; empty: everything"""


def measure_and_write(
    job: Job, wanted: Wanted = Wanted(), *, bar: str | None = None, progress: Progress = quiet
) -> Outcome:
    """Measure, judge, and write every result into ``results/`` of the job.

    ``bar`` gives the length between bar ends B01 and B02 to a job that knows none. Raises ``InputError`` for values that cannot
    be used, ``MeasureError`` where the photos do not allow an answer, or no length is known and ``wanted.unscaled`` is false
    (report and result are written all the same), ``OutputError`` where a file cannot be written (the earlier one stays).
    """
    if wanted.dxf_version not in get_args(DxfVersion):
        raise InputError(f"There is no DXF version {wanted.dxf_version!r} here; choose R2010 or R12.")
    if wanted.units is not None and wanted.units not in get_args(Unit):
        raise InputError(f"The drawing's unit can be mm or in, not {wanted.units!r}.")
    for name in wanted.formats:
        if name not in {f.name for f in FORMATS}:
            raise InputError(f"There is no format {name!r}; choose from {', '.join(f.name for f in FORMATS)}.")
    if bar is not None:
        job = with_bar(job, bar)
    with working_on(job):
        inputs = inputs_of(job)
        try:
            measurement = measure_job(job, progress)
        except MeasureError:
            retire(job)  # made from other photos or another job file, they are no results of this job any more
            raise
        return _write_set(job, measurement, wanted, inputs, progress, None)


def write_results(
    job: Job, measurement: Measurement, wanted: Wanted = Wanted(), *, progress: Progress = quiet,
    judgements: Judgements | None = None,
) -> Outcome:
    """Write what a measurement of the job as it is now allows; a piece that cannot be built costs that piece alone.

    ``judgements`` of this measurement, where it was judged already. Raises as :func:`measure_and_write`.
    """
    with working_on(job):
        return _write_set(job, measurement, wanted, inputs_of(job), progress, judgements)


def _write_set(
    job: Job, measurement: Measurement, wanted: Wanted, inputs: dict[str, Any], progress: Progress,
    judgements: Judgements | None,
) -> Outcome:
    """Every file into one new set, which then takes the place of the earlier one.

    Where drawings are refused the set is report and result alone, and the refusal is raised once it is in place.
    """
    refused: MeasureError | None = None
    written: dict[str, Path] = {}
    with new_set(job, inputs, SET_FILES) as folder:
        outcome, material = _material(job, measurement, wanted, progress, judgements)
        try:
            written = write_formats(material, folder, wanted.formats)
        except MeasureError as exc:
            refused = exc
    progress("report", 1.0)
    if refused is not None:
        raise refused
    return replace(outcome, written={name: job.results / path.name for name, path in written.items()})


def _material(
    job: Job, measurement: Measurement, wanted: Wanted, progress: Progress, judgements: Judgements | None
) -> tuple[Outcome, Material]:
    """What the writers need, and the outcome without its files."""
    file = job.file
    settings = file.settings.output
    progress("report", 0.0)
    doubt: PhototemplateError | None = None
    template = None
    try:
        template = template_of(job, measurement)
        doubt = template.refused[0][1] if template is not None and template.refused else None
    except PhototemplateError as exc:
        doubt = exc
    judgements = judgements or judge(measurement, template, file.tolerance)
    progress("report", 0.3)
    top, panel = pictures(measurement, settings)
    material = Material(
        measurement=measurement,
        settings=settings,
        unit=wanted.units or file.units,  # type: ignore[arg-type]
        dxf_version=wanted.dxf_version,  # type: ignore[arg-type]
        tolerance_mm=file.tolerance,
        allow_unscaled=wanted.unscaled,
        print_only=wanted.print_only,
        top_picture=top,
        picture_of=panel,
        template=template,
        judgements=judgements,
        title=_title(job),
        handed_out=_handed_out(job),
        progress=progress,
    )
    shown = without_uncertainties(template) if measurement.network.quality.withheld else template
    return Outcome(as_shown(measurement), judgements, {}, shown, doubt), material


def write_drawn(job: Job, wanted: Wanted = Wanted()) -> tuple[Template, dict[str, Path]]:
    """Build and write the pieces of a job that has drawn shapes and no photos.

    Raises ``InputError`` where a wish cannot be built and no piece is left, ``OutputError`` where a file cannot be written.
    """
    file = job.file
    with working_on(job), new_set(job, inputs_of(job), SET_FILES) as folder:
        template = build_template(no_outline(), file.template_spec(), (), job.folder)
        if not template.parts:
            template.whole()
        material = Material(None, file.settings.output, wanted.units or file.units, wanted.dxf_version,  # type: ignore[arg-type]
                            print_only=wanted.print_only, template=template, title=_title(job), handed_out=_handed_out(job))
        written = write_formats(material, folder, wanted.formats)
    return template, {name: job.results / path.name for name, path in written.items()}


def hand_out(job: Job, to: str = "") -> HandedOut:
    """Keep the pieces as they were last written as the state that somebody has in hand.

    Raises ``InputError`` where no pieces were written from the job as it is now, or nothing changed since the last time.
    """
    found = current_set(job)
    path = job.results / "pieces.json"
    if found is None or path not in found.paths():
        raise InputError(f"{job.folder} has no pieces written from the job as it is now; measure it first, then hand it out.")
    pieces = json.loads(path.read_text(encoding="utf-8"))
    before = _handed_out(job)
    if before and not changes(before[-1].pieces, pieces, LengthWords()):
        raise InputError(f"Nothing changed since revision {before[-1].revision} of {before[-1].date}; that one still holds.")
    state = HandedOut(next_revision(before), date.today().isoformat(), to, pieces)
    folder = job.folder / HANDED_OUT
    folder.mkdir(exist_ok=True)
    write_text_atomic(folder / f"{state.revision}.json", json.dumps(asdict(state), indent=1) + "\n")
    return state


def _handed_out(job: Job) -> tuple[HandedOut, ...]:
    return tuple(read_handed_out(path) for path in job.handed_out_paths())


def _title(job: Job) -> TitleBlock:
    file = job.file
    return TitleBlock(job.name, file.customer, file.address, date.today().isoformat(), file.drawn_by,
                      tolerance_words(file.tolerance))


def with_bar(job: Job, bar: str) -> Job:
    """The job with one more known length, from bar end B01 to B02; the job file stays as it is."""
    length = LengthSpec.model_validate({"kind": "bar", "from": "B01", "to": "B02", "value": bar})
    return replace(job, file=job.file.model_copy(update={"lengths": [*job.file.lengths, length]}))


def pictures(measurement: Measurement, settings: OutputSettings) -> tuple[TopPicture | None, PictureOf]:
    """Rectified picture for the report, None where no photo shows the plane, and what gives the photos' own pictures for it.

    A photo is decoded once for both.
    """
    photos = {p.photo_id: p for p in measurement.photos}
    side = panel_side(settings, len(photos))
    small: dict[str, Rgb] = {}

    def large(photo: str) -> Rgb:
        rgb = read_rgb(photos[photo], TOP_VIEW_PHOTO_PX)
        small[photo] = reduced(rgb, side)
        return rgb

    def panel(meta: PhotoMeta, side_px: int) -> Rgb:
        return small[meta.photo_id] if meta.photo_id in small else read_rgb(meta, side_px)

    try:
        bounds = default_bounds(measurement.network, measurement.work_plane)
        px_per_mm = settings.top_view_px / max(bounds[2] - bounds[0], bounds[3] - bounds[1])
        view = rectify(measurement.network, measurement.work_plane, large, bounds, px_per_mm)
    except (MeasureError, ValueError):
        return None, panel
    return TopPicture.of(view), panel
