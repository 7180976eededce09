"""The file formats, each in one place: name, file, meaning, writer.

Importing this module costs nothing: a writer imports its library when it is called.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from phototemplate.errors import InputError, MeasureError
from phototemplate.settings import OutputSettings
from phototemplate.wording import said

if TYPE_CHECKING:
    from phototemplate.model import Measurement, Outline
    from phototemplate.output.assessment import Judgements
    from phototemplate.output.dxf import DxfVersion, Unit
    from phototemplate.output.pdf import PaperSheet
    from phototemplate.output.report import TopPicture
    from phototemplate.template.drawing import Drawing
    from phototemplate.template.piece_types import Template
    from phototemplate.template.shop_sheet import TitleBlock

Rows = Sequence[Sequence[str]]
FULL_SIZE_TEXT_MM = 8.0


@dataclass(frozen=True)
class Subject:
    """One drawing to be written in several formats."""

    name: str
    """File stem, ``outline`` or ``pieces``"""
    draw: Callable[[float], Drawing]
    """Height of texts in mm -> drawing"""
    schedule: Rows = ()
    """Edge schedule of the shop drawing, header first"""
    sheets: Callable[[str], Sequence[PaperSheet]] | None = None
    """Paper -> laid-out sheets of the shop drawing; default: title block and ``schedule`` round the drawing"""
    tables: tuple[tuple[str, Sequence[str], Sequence[Sequence[object]]], ...] = ()
    """Tables for CSV: what follows the stem, columns, rows"""


@dataclass(frozen=True)
class Material:
    """Everything the writers need."""

    measurement: Measurement
    subjects: tuple[Subject, ...] = ()
    settings: OutputSettings = field(default_factory=OutputSettings)
    unit: Unit = "in"
    dxf_version: DxfVersion = "R2010"
    tolerance_mm: float = 25.4 / 16
    paper: str = ""
    """Of shop drawing and full-size print; empty: A3 and A4 for mm, Tabloid and Letter for inch"""
    allow_unscaled: bool = False
    """Write drawings although no length is known"""
    top_picture: TopPicture | None = None
    template: Template | None = None
    """Finished pieces, for the report"""
    judgements: Judgements | None = None
    """What the studies say of the measurement, for report and result"""
    progress: Callable[[str, float], None] | None = None

    @property
    def warnings(self) -> list[str]:
        """Serious findings, for every drawing."""
        serious = (f for f in self.measurement.findings if f.severity == "serious")
        return [f"{one.where}: {one.message}" for one in said(serious, self.unit)]


@dataclass(frozen=True)
class OutputFormat:
    """One format: what it is called, how its file is called, and who writes it."""

    name: str
    """What the command line and the app call it"""
    suffix: str
    """What follows the subject's name, or the whole file name of a measurement's format"""
    meaning: str
    of: Literal["measurement", "drawing"]
    write: Callable[[Material, Subject | None, Path], Path]

    def file_name(self, subject: Subject | None, unscaled: bool) -> str:
        """``outline.dxf``, ``outline-unscaled.dxf``, ``report.html``"""
        if subject is None:
            return self.suffix
        return f"{subject.name}{'-unscaled' if unscaled else ''}{self.suffix}"


def outline_subject(measurement: Measurement, settings: OutputSettings, tolerance_mm: float) -> Subject:
    """The outline as measured."""
    from phototemplate.output.csv import EDGE_COLUMNS, edge_rows
    from phototemplate.output.pdf import edge_schedule
    from phototemplate.template.outline_drawing import outline_drawing

    outline, title = measurement.outline, f"{measurement.job_name}: outline as measured"

    def draw(height: float) -> Drawing:
        table = height == settings.text_height_mm  # on paper the schedule stands on a page of its own
        return outline_drawing(
            outline,
            title,
            settings.chord_tolerance_mm,
            height,
            settings.band_scale,
            points=table,
            edge_table=table,
            denominator=settings.inch_denominator,
        )

    return Subject(
        "outline",
        draw,
        edge_schedule(outline.edges, tolerance_mm, outline.unscaled, settings.inch_denominator),
        tables=(("-edges", EDGE_COLUMNS, edge_rows(outline, settings.inch_denominator)),),
    )


def pieces_subject(template: Template, outline: Outline, title: TitleBlock, simplify_mm: float = 0.0) -> Subject:
    """Finished pieces: what the shop cuts."""
    from phototemplate.template.schedule import CSV_COLUMNS, SIZE_COLUMNS, edge_rows_csv, size_rows_csv
    from phototemplate.template.shop_drawing import template_drawing
    from phototemplate.template.shop_sheet import shop_sheets

    return Subject(
        "pieces",
        lambda height: template_drawing(template, outline, f"{title.job}: pieces", height, simplify_mm=simplify_mm),
        sheets=lambda paper: shop_sheets(template, outline, title, paper),
        tables=(
            ("-edges", CSV_COLUMNS, [list(row.values()) for row in edge_rows_csv(template)]),
            ("-sizes", SIZE_COLUMNS, [list(row.values()) for row in size_rows_csv(template)]),
        ),
    )


def write_formats(
    material: Material, folder: Path, names: Sequence[str] = (), subjects: Sequence[Subject] = ()
) -> dict[str, Path]:
    """Write the named formats (default: all) into a folder; (subject and) format -> path.

    Formats of the measurement come first, so that result and report exist even where drawings are refused.

    Raises
    ------
    InputError
        For a format that does not exist.
    MeasureError
        Where a drawing is asked for, no length is known, and ``allow_unscaled`` is false.
    OutputError
        Where a file cannot be written; the earlier file stays.
    """
    known = {f.name: f for f in FORMATS}
    for name in names:
        if name not in known:
            raise InputError(f"There is no format {name!r}; choose from {', '.join(known)}.")
    chosen = [f for f in FORMATS if not names or f.name in names]
    unscaled = material.measurement.outline.unscaled
    written: dict[str, Path] = {}
    for one in chosen:
        if one.of == "measurement":
            written[one.name] = one.write(material, None, folder / one.file_name(None, unscaled))
    drawings = [f for f in chosen if f.of == "drawing"]
    if drawings and unscaled and not material.allow_unscaled:
        raise MeasureError(
            f"No known length, so the shape of {material.measurement.job_name} has no scale and no drawing was written; "
            "give a length in the job file, or ask for the bare shape with --unscaled."
        )
    shown = list(subjects) or list(material.subjects)
    for k, subject in enumerate(shown):
        for one in drawings:
            if one.name == "full-size" and unscaled:
                continue
            key = one.name if k == 0 else f"{subject.name} {one.name}"
            written[key] = one.write(material, subject, folder / one.file_name(subject, unscaled))
    return written


def _result(material: Material, _: Subject | None, path: Path) -> Path:
    from phototemplate.output.result_json import write_result_json

    return write_result_json(material.measurement, path, material.judgements)


def _report(material: Material, _: Subject | None, path: Path) -> Path:
    from phototemplate.output.report import write_report

    return write_report(
        material.measurement,
        path,
        settings=material.settings,
        tolerance_mm=material.tolerance_mm,
        unit=material.unit,
        top_picture=material.top_picture,
        template=material.template,
        judgements=material.judgements,
        progress=material.progress,
    )


def _csv(material: Material, subject: Subject | None, path: Path) -> Path:
    """Every table of the subject; the first has the format's own name."""
    from phototemplate.output.csv import write_rows_csv

    assert subject is not None
    for suffix, columns, rows in subject.tables:
        write_rows_csv(path.with_name(path.name.replace("-edges.csv", f"{suffix}.csv")), columns, rows)
    return path


def _dxf(material: Material, subject: Subject | None, path: Path) -> Path:
    from phototemplate.output.dxf import write_dxf

    assert subject is not None
    return write_dxf(
        subject.draw(material.settings.text_height_mm),
        path,
        version=material.dxf_version,
        unit=material.unit,
        unscaled=material.measurement.outline.unscaled,
        warnings=material.warnings,
    )


def _svg(material: Material, subject: Subject | None, path: Path) -> Path:
    from phototemplate.output.svg import write_svg

    assert subject is not None
    drawing = subject.draw(material.settings.text_height_mm)
    return write_svg(drawing, path, unscaled=material.measurement.outline.unscaled)


def _pdf(material: Material, subject: Subject | None, path: Path) -> Path:
    from phototemplate.output.pdf import ShopSheet, write_sheets_pdf, write_shop_pdf
    from phototemplate.output.report.words import tolerance_words

    assert subject is not None
    paper = material.paper or ("Tabloid" if material.unit == "in" else "A3")
    if subject.sheets is not None:
        return write_sheets_pdf(subject.sheets(paper), path, f"{material.measurement.job_name}: {subject.name}")
    sheet = ShopSheet(
        job=material.measurement.job_name,
        date=date.today().isoformat(),
        tolerance=tolerance_words(material.tolerance_mm),
        schedule=subject.schedule,
        warnings=material.warnings,
    )
    return write_shop_pdf(
        subject.draw,
        path,
        sheet,
        paper=paper,
        unit=material.unit,
        unscaled=material.measurement.outline.unscaled,
    )


def _full_size(material: Material, subject: Subject | None, path: Path) -> Path:
    from phototemplate.output.full_size import write_full_size_pdf

    assert subject is not None
    drawing = subject.draw(FULL_SIZE_TEXT_MM)
    paper = material.paper or ("Letter" if material.unit == "in" else "A4")
    return write_full_size_pdf(drawing, path, paper=paper, unscaled=material.measurement.outline.unscaled)


FORMATS: tuple[OutputFormat, ...] = (
    OutputFormat("result", "result.json", "everything measured, for programs", "measurement", _result),
    OutputFormat("report", "report.html", "the report to read before cutting", "measurement", _report),
    OutputFormat("csv", "-edges.csv", "table of the edges, and of the sizes of pieces", "drawing", _csv),
    OutputFormat("dxf", ".dxf", "drawing for the saw or the office", "drawing", _dxf),
    OutputFormat("svg", ".svg", "drawing for a browser or a vector editor", "drawing", _svg),
    OutputFormat("pdf", ".pdf", "dimensioned shop drawing to sign", "drawing", _pdf),
    OutputFormat("full-size", "-full-size.pdf", "full size on many pages, to try on site", "drawing", _full_size),
)
"""Every format, in the order in which they are written. Add new formats here, nowhere else."""

FORMAT_NAMES: Mapping[str, str] = {f.name: f.meaning for f in FORMATS}
