"""The finished pieces in the report: drawing, schedules, checks with their sources, shims."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from phototemplate.model import Outline
from phototemplate.output.assessment import Judged
from phototemplate.output.constants import REPORT_TEXT_MM
from phototemplate.output.report.words import size_verdict
from phototemplate.output.svg import svg_text
from phototemplate.template.lengths import JobUnit, LengthWords
from phototemplate.template.piece_types import Template
from phototemplate.template.schedule import (
    check_schedule,
    corner_schedule,
    edge_schedule,
    piece_schedule,
    shim_schedule,
    size_schedule,
)
from phototemplate.template.shop_drawing import Style, template_drawing

Rows = list[tuple[str, ...]]


@dataclass(frozen=True)
class Table:
    """A schedule, header first."""

    title: str
    rows: Rows
    note: str = ""


@dataclass(frozen=True)
class PiecesPart:
    """The section on pieces."""

    drawing: Markup
    """An ``svg`` element, drawn for white paper"""
    to_look_at: Rows
    """Checks that did not pass, header first"""
    tables: tuple[Table, ...]


def pieces_part(template: Template, outline: Outline, unit: JobUnit, sizes: Sequence[Judged] = ()) -> PiecesPart:
    """Drawing and tables of a template; ``sizes`` are the verdicts on its finished dimensions."""
    words = LengthWords.of(template.spec.shop, unit)
    drawing = template_drawing(template, outline, Style(words, REPORT_TEXT_MM))
    tables = (
        Table("Pieces", piece_schedule(template, words)),
        Table("Edges", edge_schedule(template, words), "As every piece runs anticlockwise."),
        Table("Corners", corner_schedule(template, words)),
        Table("Finished dimensions", _sizes(template, words, sizes)),
        Table("Shims", shim_schedule(template), "Against the highest place of all cabinets."),
        Table("Checks", check_schedule(template, words), "Usual limits warn; they do not replace an engineer, the code or the "
              "maker's sheet."),
    )  # fmt: skip
    return PiecesPart(
        Markup(svg_text(drawing, unscaled=True, standalone=False)),
        check_schedule(template, words, "look"),
        tuple(t for t in tables if len(t.rows) > 1),
    )


def _sizes(template: Template, words: LengthWords, judged: Sequence[Judged]) -> Rows:
    """Finished dimensions, with a verdict on each that is measured."""
    rows = size_schedule(template, words, ("overall", "depth", "diagonal", "cut-out", "opening", "gap"))
    if not judged:
        return rows
    verdicts = {(j.where, j.name): size_verdict(j) for j in judged}
    return [(*rows[0], "verdict"), *((*r, verdicts.get((r[0], r[1]), "")) for r in rows[1:])]
