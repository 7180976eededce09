"""The file formats, each in one place: name, file, meaning, writer.

Importing this module costs nothing: a writer imports its library when it is called.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from phototemplate.errors import InputError, MeasureError
from phototemplate.output.constants import FULL_SIZE_TEXT_MM, ROLL_LENGTH_OF_WIDTH
from phototemplate.settings import OutputSettings
from phototemplate.wording import said

if TYPE_CHECKING:
    from phototemplate.model import Measurement, Outline
    from phototemplate.output.assessment import Judgements
    from phototemplate.output.dxf import DxfVersion, Unit
    from phototemplate.output.report import TopPicture
    from phototemplate.output.report.photos import PictureOf
    from phototemplate.output.revision import HandedOut
    from phototemplate.template.drawing import Drawing
    from phototemplate.template.paper_sheets import PaperSheet, SheetStyle, TitleBlock
    from phototemplate.template.piece_types import Template



@dataclass(frozen=True)
class Subject:
    """One drawing to be written in several formats."""

    name: str
    """File stem, ``outline`` or ``pieces``"""
    draw: Callable[[float], Drawing]
    """Height of texts in mm -> drawing"""
    sheets: Callable[[SheetStyle], Sequence[PaperSheet]]
    """Laid-out sheets of the shop drawing"""
    tables: tuple[tuple[str, Sequence[str], Sequence[Sequence[object]]], ...] = ()
    """Tables for CSV: what follows the stem, columns, rows"""


@dataclass(frozen=True)
class Material:
    """Everything the writers need."""

    measurement: Measurement | None
    """None: a job of drawn shapes alone"""
    settings: OutputSettings = field(default_factory=OutputSettings)
    unit: Unit = "in"
    dxf_version: DxfVersion = "R2010"
    tolerance_mm: float = 25.4 / 16
    title: TitleBlock | None = None
    """Title block of the sheets; None: the job's name alone"""
    paper: str = ""
    """Of shop drawing and full-size print; empty: A3 and A4 for mm, Tabloid and Letter for inch"""
    print_only: str = ""
    """Corner, edge or piece that the full-size print is limited to; empty: everything"""
    allow_unscaled: bool = False
    """Write drawings although no length is known"""
    top_picture: TopPicture | None = None
    picture_of: PictureOf | None = None
    """How to get at a photo's pixels for the report; None: from its file"""
    template: Template | None = None
    """Finished pieces, for the report"""
    judgements: Judgements | None = None
    """What the studies say of the measurement, for report and result"""
    handed_out: tuple[HandedOut, ...] = ()
    """States of the pieces that somebody has in hand, oldest first"""
    progress: Callable[[str, float], None] | None = None

    @property
    def outline(self) -> Outline:
        """The measured outline; an empty one where nothing was measured."""
        from phototemplate.template.drawn import no_outline

        return self.measurement.outline if self.measurement is not None else no_outline()

    @property
    def block(self) -> TitleBlock:
        """The title block, with the revision that the pieces are now."""
        from phototemplate.template.paper_sheets import TitleBlock

        block = self.title or TitleBlock(self.measurement.job_name if self.measurement is not None else "")
        if not self.handed_out or self.template is None:
            return block
        from phototemplate.output.revision import next_revision

        last = self.handed_out[-1].revision
        return replace(block, revision=next_revision(self.handed_out) if self.changed else last)

    @property
    def changed(self) -> list[tuple[str, str]]:
        """Table of what changed since the pieces were last handed out, header first; empty where nothing did."""
        from phototemplate.output.pieces_json import pieces_data
        from phototemplate.output.revision import changes
        from phototemplate.template.lengths import LengthWords

        if not self.handed_out or self.template is None:
            return []
        last = self.handed_out[-1]
        words = LengthWords.of(self.template.spec.shop, self.unit)
        rows = changes(last.pieces, pieces_data(self.template, ""), words)
        head = ("piece", f"since revision {last.revision} of {last.date}" + (f", handed to {last.to}" if last.to else ""))
        return [head, *rows] if rows else []

    @property
    def withheld(self) -> bool:
        """Whether the photos contradict each other too much for any uncertainty to be stated."""
        return self.measurement is not None and self.measurement.network.quality.withheld

    @property
    def warnings(self) -> list[str]:
        """Serious findings, for every drawing."""
        found = self.measurement.findings if self.measurement is not None else ()
        serious = (f for f in found if f.severity == "serious")
        return [f"{one.where}: {one.message}" for one in said(serious, self.unit)]


@dataclass(frozen=True)
class OutputFormat:
    """One format: what it is called, how its file is called, and who writes it."""

    name: str
    """What the command line and the app call it"""
    suffix: str
    """What follows the subject's name, or the whole file name of a measurement's format"""
    meaning: str
    of: Literal["measurement", "drawing", "pieces"]
    write: Callable[[Material, Subject | None, Path], Path]

    def file_name(self, subject: str | None, unscaled: bool) -> str:
        """``outline.dxf``, ``outline-unscaled.dxf``, ``report.html``; ``subject`` is the name of a drawing's subject."""
        if subject is None:
            return self.suffix
        return f"{subject}{'-unscaled' if unscaled else ''}{self.suffix}"


def outline_subject(material: Material) -> Subject:
    """The outline as measured."""
    from phototemplate.output.csv import EDGE_COLUMNS, edge_rows
    from phototemplate.output.pdf import edge_schedule
    from phototemplate.template.lengths import LengthWords
    from phototemplate.template.outline_drawing import OutlineStyle, outline_drawing
    from phototemplate.template.shop_sheet import outline_sheets

    measurement, settings = material.measurement, material.settings
    assert measurement is not None
    outline, title = measurement.outline, f"{measurement.job_name}: outline as measured"
    words = LengthWords(material.unit, denominator=settings.inch_denominator)

    def draw(height: float) -> Drawing:
        table = height == settings.text_height_mm  # on paper the schedule stands on a page of its own
        look = OutlineStyle(words, height, settings.chord_tolerance_mm, settings.band_scale, points=table, edge_table=table)
        return outline_drawing(outline, title, look)

    doubt = outline.unscaled, measurement.network.quality.withheld
    schedule = edge_schedule(outline.edges, material.tolerance_mm, words, *doubt)
    return Subject(
        "outline",
        draw,
        lambda style: outline_sheets(draw, schedule, material.warnings, style),
        tables=(("-edges", EDGE_COLUMNS, edge_rows(outline, settings.inch_denominator)),),
    )


def pieces_subject(material: Material) -> Subject:
    """Finished pieces: what the shop cuts."""
    from phototemplate.template.lengths import LengthWords
    from phototemplate.template.schedule import CSV_COLUMNS, SIZE_COLUMNS, edge_rows_csv, size_rows_csv
    from phototemplate.template.shop_drawing import Style, template_drawing
    from phototemplate.template.shop_sheet import shop_sheets

    template, outline = material.template, material.outline
    assert template is not None
    words, title = LengthWords.of(template.spec.shop, material.unit), f"{material.block.job}: pieces"
    return Subject(
        "pieces",
        lambda height: template_drawing(template, outline, Style(words, height, title)),
        lambda style: shop_sheets(template, outline, style, words, material.warnings, material.changed),
        tables=(
            ("-edges", CSV_COLUMNS, [list(row.values()) for row in edge_rows_csv(template)]),
            ("-sizes", SIZE_COLUMNS, [list(row.values()) for row in size_rows_csv(template)]),
        ),
    )


def _withheld(material: Material) -> Material:
    """What is shown where the photos contradict each other too much for any uncertainty to be stated."""
    from phototemplate.output.withheld import as_shown, without_uncertainties

    assert material.measurement is not None
    return replace(
        material, measurement=as_shown(material.measurement), template=without_uncertainties(material.template), judgements=None
    )


def write_formats(material: Material, folder: Path, names: Sequence[str] = ()) -> dict[str, Path]:
    """Write the named formats (default: all) into a folder; (subject and) format -> path.

    Formats of the measurement come first, so that result and report exist even where drawings are refused. Files to cut from
    are written where pieces were built and a length is known.

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
    if material.withheld:
        material = _withheld(material)
    unscaled = material.outline.unscaled
    # what a machine runs without anybody reading a warning on it is not written where nothing is to be cut from
    cuttable = not unscaled and not material.withheld
    written: dict[str, Path] = {}
    for one in chosen:
        if one.of == "measurement" and material.measurement is not None:
            written[one.name] = one.write(material, None, folder / one.file_name(None, unscaled))
    drawings = [f for f in chosen if f.of == "drawing"]
    if drawings and unscaled and not material.allow_unscaled:
        raise MeasureError(
            f"No known length, so the shape of {material.block.job} has no scale and no drawing was written; "
            "give a length in the job file, or ask for the bare shape with --unscaled."
        )
    pieces = material.template is not None and bool(material.template.parts)
    subjects = [outline_subject(material)] if material.measurement is not None else []
    for subject in [*subjects, *([pieces_subject(material)] if pieces else [])]:
        for one in drawings:
            if one.name == "full-size" and not cuttable:
                continue
            key = one.name if subject.name == "outline" else f"{subject.name} {one.name}"
            written[key] = one.write(material, subject, folder / one.file_name(subject.name, unscaled))
    if pieces and cuttable:
        for one in chosen:
            if one.of == "pieces":
                written[one.name] = one.write(material, None, folder / one.file_name(None, unscaled))
    return written


def _result(material: Material, _: Subject | None, path: Path) -> Path:
    from phototemplate.output.result_json import write_result_json

    assert material.measurement is not None

    return write_result_json(material.measurement, path, material.judgements)


def _report(material: Material, _: Subject | None, path: Path) -> Path:
    from phototemplate.output.report import write_report

    assert material.measurement is not None
    return write_report(
        material.measurement,
        path,
        settings=material.settings,
        tolerance_mm=material.tolerance_mm,
        unit=material.unit,
        top_picture=material.top_picture,
        picture_of=material.picture_of,
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
        unscaled=material.outline.unscaled,
        warnings=material.warnings,
    )


def _svg(material: Material, subject: Subject | None, path: Path) -> Path:
    from phototemplate.output.svg import write_svg

    assert subject is not None
    drawing = subject.draw(material.settings.text_height_mm)
    return write_svg(drawing, path, unscaled=material.outline.unscaled)


def _pdf(material: Material, subject: Subject | None, path: Path) -> Path:
    from phototemplate.output.paper import paper_size
    from phototemplate.output.pdf import write_sheets_pdf
    from phototemplate.template.paper_sheets import SheetStyle

    assert subject is not None
    short, long = paper_size(material.paper or ("Tabloid" if material.unit == "in" else "A3"))
    size = (min(long, ROLL_LENGTH_OF_WIDTH * short), short)  # a roll is cut to a handy length
    facts = ("Inches first, mm in brackets" if material.unit == "in" else "mm first, inches in brackets",)
    style = SheetStyle(material.block, size, material.unit, material.outline.unscaled, facts)
    return write_sheets_pdf(subject.sheets(style), path, f"{material.block.job}: {subject.name}")


def _full_size(material: Material, subject: Subject | None, path: Path) -> Path:
    from phototemplate.output.full_size import region_named, write_full_size_pdf

    assert subject is not None
    drawing = subject.draw(FULL_SIZE_TEXT_MM)
    paper = material.paper or ("Letter" if material.unit == "in" else "A4")
    outline = material.outline
    region = region_named(material.print_only, outline, material.template) if material.print_only else None
    return write_full_size_pdf(drawing, path, paper=paper, region=region, unscaled=outline.unscaled)


def _cut(material: Material, _: Subject | None, path: Path) -> Path:
    """One file a piece beside the one for all."""
    from phototemplate.output.dxf import write_dxf
    from phototemplate.template.cutting import cutting_drawing, cutting_drawing_of_all

    assert material.template is not None
    names = {}
    for part in material.template.parts:
        stem = "".join(c if c.isalnum() or c in "-_" else "-" for c in part.piece_id)
        while f"cut-{stem}.dxf" in names or stem == "all":
            stem += "-"
        names[f"cut-{stem}.dxf"] = cutting_drawing(part)
    for name, drawing in {**names, path.name: cutting_drawing_of_all(material.template)}.items():
        write_dxf(drawing, path.with_name(name), version=material.dxf_version, unit=material.unit, bare=True)
    return path


def _pieces(material: Material, _: Subject | None, path: Path) -> Path:
    from phototemplate.output.pieces_json import write_pieces_json

    assert material.template is not None
    return write_pieces_json(material.template, material.block.job, path, material.block.revision)


def _labels(material: Material, _: Subject | None, path: Path) -> Path:
    from phototemplate.output.paper import paper_size
    from phototemplate.output.pdf import write_sheets_pdf
    from phototemplate.template.label_sheet import label_sheets
    from phototemplate.template.lengths import LengthWords

    assert material.template is not None
    size = paper_size("Letter" if material.unit == "in" else "A4")
    words = LengthWords.of(material.template.spec.shop, material.unit)
    return write_sheets_pdf(label_sheets(material.template, material.block, words, size), path, f"{material.block.job}: labels")


FORMATS: tuple[OutputFormat, ...] = (
    OutputFormat("result", "result.json", "everything measured, for programs", "measurement", _result),
    OutputFormat("report", "report.html", "the report to read before cutting", "measurement", _report),
    OutputFormat("csv", "-edges.csv", "table of the edges, and of the sizes of pieces", "drawing", _csv),
    OutputFormat("dxf", ".dxf", "drawing for the saw or the office", "drawing", _dxf),
    OutputFormat("cut", "cut-all.dxf", "closed outlines alone, a file for each piece and one for all", "pieces", _cut),
    OutputFormat("pieces", "pieces.json", "geometry of every piece with its uncertainty, for programs", "pieces", _pieces),
    OutputFormat("labels", "labels.pdf", "a label with a square code for every piece", "pieces", _labels),
    OutputFormat("svg", ".svg", "drawing for a browser or a vector editor", "drawing", _svg),
    OutputFormat("pdf", ".pdf", "dimensioned shop drawing to sign", "drawing", _pdf),
    OutputFormat("full-size", "-full-size.pdf", "full size on many pages, to try on site", "drawing", _full_size),
)
"""Every format, in the order in which they are written. Add new formats here, nowhere else."""

FORMAT_NAMES: Mapping[str, str] = {f.name: f.meaning for f in FORMATS}
