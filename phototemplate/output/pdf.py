"""Shop drawing as PDF: the drawing to scale with a title block, then edge schedule, notes and cautions."""

from __future__ import annotations

import io
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from phototemplate import __version__
from phototemplate.atomic import write_bytes_atomic
from phototemplate.model import EdgeReport
from phototemplate.output.paper import BOLD, PLAIN, PT_PER_MM, PaperMapping, draw_items, new_canvas, paper_size, text_at
from phototemplate.output.report.words import edge_verdict
from phototemplate.output.text import cp1252
from phototemplate.template.drawing import Drawing
from phototemplate.template.rules import CAUTIONS
from phototemplate.units import format_length

__all__ = ["ShopSheet", "edge_schedule", "write_sheets_pdf", "write_shop_pdf"]

SCALES = {
    "mm": (1, 2, 5, 10, 15, 20, 25, 30, 40, 50, 75, 100, 200),
    "in": (1, 2, 4, 8, 12, 16, 24, 32, 48, 64, 96, 192),
}
_INCH_SCALES = {4: '3" = 1\'', 8: '1 1/2" = 1\'', 12: '1" = 1\'', 16: '3/4" = 1\'', 24: '1/2" = 1\'', 32: '3/8" = 1\'',
                48: '1/4" = 1\'', 96: '1/8" = 1\''}  # fmt: skip
TEXT_ON_PAPER_MM = 2.2
"""Height of capitals of names and dimensions"""
_MARGIN, _BLOCK, _FOOT = 10.0, 32.0, 6.0

class PaperSheet(Protocol):
    """A laid-out sheet, as ``template.shop_sheet`` makes it."""

    @property
    def drawing(self) -> Drawing:
        """In paper mm, origin at the lower left corner of the page."""

    @property
    def width_mm(self) -> float: ...

    @property
    def height_mm(self) -> float: ...


DrawingAt = Callable[[float], Drawing]
"""Height of texts in drawing mm -> drawing; so that texts come out readable at every scale"""


@dataclass(frozen=True)
class ShopSheet:
    """What the title block and the schedule say."""

    job: str
    date: str = ""
    tolerance: str = ""
    """As words, e.g. ``1/16 in (1.6 mm)``"""
    schedule: Sequence[Sequence[str]] = ()
    """Rows of the edge schedule, header first; the last column may be long"""
    warnings: Sequence[str] = ()
    revision: str = ""


def write_shop_pdf(
    drawing: Drawing | DrawingAt,
    path: str | Path,
    sheet: ShopSheet,
    *,
    paper: str = "A3",
    unit: str = "mm",
    unscaled: bool = False,
) -> Path:
    """Write the shop drawing.

    Parameters
    ----------
    drawing
        In mm, or a function that makes it for a given height of texts.
    unit
        ``"mm"`` or ``"in"``: which series of scales is used.

    Raises
    ------
    InputError
        When the paper is not known.
    OutputError
        When the file cannot be written; the earlier file stays.
    """
    write_bytes_atomic(path, shop_pdf_bytes(drawing, sheet, paper=paper, unit=unit, unscaled=unscaled))
    return Path(path)


def shop_pdf_bytes(
    drawing: Drawing | DrawingAt,
    sheet: ShopSheet,
    *,
    paper: str = "A3",
    unit: str = "mm",
    unscaled: bool = False,
) -> bytes:
    """The file of :func:`write_shop_pdf`."""
    short, long = paper_size(paper)
    long = min(long, 2.0 * short)  # a roll is cut to a handy length
    made, scale, landscape = _fitted(drawing, short, long, SCALES["in" if unit == "in" else "mm"])
    page = (long, short) if landscape else (short, long)
    stream = io.BytesIO()
    canvas = new_canvas(stream, f"{sheet.job}: {made.title}")
    canvas.setPageSize((page[0] * PT_PER_MM, page[1] * PT_PER_MM))
    x0, y0, x1, y1 = made.bounds()
    width, height = _area(page)
    corner = (_MARGIN + (width - (x1 - x0) / scale) / 2, _MARGIN + _BLOCK + (height - (y1 - y0) / scale) / 2)
    items = [i for i in made.items if not i.layer.startswith("SHEET-")]
    draw_items(canvas, items, PaperMapping((x0, y0), corner, scale))
    _title_block(canvas, page, made, sheet, scale, unit, unscaled)
    canvas.showPage()
    _schedule_pages(canvas, page, made, sheet, unscaled)
    canvas.save()
    return stream.getvalue()


def write_sheets_pdf(sheets: Sequence[PaperSheet], path: str | Path, title: str = "") -> Path:
    """Write sheets that are laid out already (drawings in paper mm), a page each.

    Raises
    ------
    OutputError
        When the file cannot be written; the earlier file stays.
    """
    stream = io.BytesIO()
    canvas = new_canvas(stream, title or (sheets[0].drawing.title if sheets else "phototemplate"))
    for sheet in sheets:
        canvas.setPageSize((sheet.width_mm * PT_PER_MM, sheet.height_mm * PT_PER_MM))
        draw_items(canvas, sheet.drawing.items, PaperMapping((0.0, 0.0), (0.0, 0.0)))
        canvas.showPage()
    canvas.save()
    write_bytes_atomic(path, stream.getvalue())
    return Path(path)


def _area(page: tuple[float, float]) -> tuple[float, float]:
    return page[0] - 2 * _MARGIN - 6.0, page[1] - 2 * _MARGIN - _BLOCK - 6.0


def _fitted(
    drawing: Drawing | DrawingAt, short: float, long: float, scales: Sequence[int]
) -> tuple[Drawing, int, bool]:
    """Largest scale at which the drawing fits, and whether the page lies on its side."""
    made = drawing if isinstance(drawing, Drawing) else drawing(TEXT_ON_PAPER_MM * scales[0])
    x0, y0, x1, y1 = made.bounds()
    # even with the smallest texts it does not fit at a larger scale than this
    least = min(max((x1 - x0) / w, (y1 - y0) / h) for w, h in (_area((long, short)), _area((short, long))))
    for scale in [s for s in scales if s >= least]:
        made = drawing if isinstance(drawing, Drawing) else drawing(TEXT_ON_PAPER_MM * scale)
        x0, y0, x1, y1 = made.bounds()
        for landscape in (True, False):
            width, height = _area((long, short) if landscape else (short, long))
            if (x1 - x0) / scale <= width and (y1 - y0) / scale <= height:
                return made, scale, landscape
    need = math.ceil(max((x1 - x0) / (long - 60), (y1 - y0) / (short - 60)) / 50) * 50
    made = drawing if isinstance(drawing, Drawing) else drawing(TEXT_ON_PAPER_MM * need)
    return made, need, True


def scale_words(scale: int, unit: str) -> str:
    """``1:24 (1/2" = 1')``"""
    extra = f" ({_INCH_SCALES[scale]})" if unit == "in" and scale in _INCH_SCALES else ""
    return f"1:{scale}{extra}"


def _title_block(
    canvas: Any, page: tuple[float, float], drawing: Drawing, sheet: ShopSheet, scale: int, unit: str, unscaled: bool
) -> None:
    """Frame and the strip along the foot: what, how, and who checked it."""
    m, w = _MARGIN, page[0] - 2 * _MARGIN
    canvas.setStrokeColorRGB(0, 0, 0)
    canvas.setFillColorRGB(0, 0, 0)
    canvas.setLineWidth(0.35 * PT_PER_MM)
    canvas.rect(m * PT_PER_MM, m * PT_PER_MM, w * PT_PER_MM, (page[1] - 2 * m) * PT_PER_MM)
    _rule(canvas, m, m + _BLOCK, m + w, m + _BLOCK)
    first, second = m + 0.40 * w, m + 0.68 * w
    _rule(canvas, first, m, first, m + _BLOCK)
    _rule(canvas, second, m, second, m + _BLOCK)
    y = m + _BLOCK
    text_at(canvas, m + 3, y - 8, _cut(sheet.job, BOLD, 14, first - m - 6), 14, BOLD)
    text_at(canvas, m + 3, y - 14, _cut(drawing.title, PLAIN, 9, first - m - 6), 9)
    small = [
        "Dimensions: mm with U (k = 2), inches in brackets.",
        "Cautions on the last page: silica dust, heavy brittle slabs, gas and electric.",
        "Local codes and the makers' sheets prevail.",
    ]
    for i, text in enumerate(small):
        text_at(canvas, m + 3, y - 20.5 - 3.7 * i, _cut(text, PLAIN, 7, first - m - 6), 7)
    lines = [
        ("Scale", "none" if unscaled else scale_words(scale, unit)),
        ("Asked for", sheet.tolerance or "as agreed"),
        ("Date", sheet.date),
        ("Revision", sheet.revision or "-"),
        ("Made with", f"phototemplate {__version__}"),
    ]
    for i, (name, value) in enumerate(lines):
        text_at(canvas, first + 3, y - 7 - 5.2 * i, name, 7)
        text_at(canvas, first + 22, y - 7 - 5.2 * i, _cut(value, PLAIN, 8.5, second - first - 25), 8.5)
    text_at(canvas, second + 3, y - 6, "Checked on site and released for cutting", 7.5, BOLD)
    for i, name in enumerate(("Name", "Date", "Signature")):
        foot = y - 14.5 - 7.5 * i
        text_at(canvas, second + 3, foot, name, 7)
        _rule(canvas, second + 20, foot - 0.8, m + w - 4, foot - 0.8, 0.18)
    warnings = [*(["NOT SCALED: no length was known. Do not cut from this drawing."] if unscaled else []), *sheet.warnings]
    canvas.setFillColorRGB(0.75, 0, 0)
    for i, text in enumerate(warnings[:6]):
        text_at(canvas, m + 3, page[1] - m - 6 - 4.6 * i, _cut(text, BOLD, 9, w - 6), 9, BOLD)
    canvas.setFillColorRGB(0, 0, 0)


def _rule(canvas: Any, x0: float, y0: float, x1: float, y1: float, width_mm: float = 0.25) -> None:
    canvas.setLineWidth(width_mm * PT_PER_MM)
    canvas.line(x0 * PT_PER_MM, y0 * PT_PER_MM, x1 * PT_PER_MM, y1 * PT_PER_MM)


def _width(text: str, font: str, size: float) -> float:
    from reportlab.pdfbase.pdfmetrics import stringWidth

    return float(stringWidth(cp1252(text), font, size)) / PT_PER_MM


def _cut(text: str, font: str, size: float, room_mm: float) -> str:
    """The text, shortened with dots where it does not fit."""
    if _width(text, font, size) <= room_mm:
        return text
    while text and _width(text + "...", font, size) > room_mm:
        text = text[:-1]
    return text.rstrip() + "..."


def _wrapped(text: str, font: str, size: float, room_mm: float) -> list[str]:
    lines: list[str] = []
    line = ""
    for word in text.split():
        longer = f"{line} {word}".strip()
        if line and _width(longer, font, size) > room_mm:
            lines.append(line)
            line = word
        else:
            line = longer
    return [*lines, line] if line or not lines else lines


def _schedule_pages(canvas: Any, page: tuple[float, float], drawing: Drawing, sheet: ShopSheet, unscaled: bool) -> None:
    """Edge schedule, notes and cautions, on as many pages as they need."""
    m = 15.0
    room = page[0] - 2 * m

    class Pen:
        y = 0.0

        def page(self) -> None:
            canvas.setPageSize((page[0] * PT_PER_MM, page[1] * PT_PER_MM))
            canvas.setFillColorRGB(0, 0, 0)
            canvas.setStrokeColorRGB(0, 0, 0)
            text_at(canvas, m, page[1] - m, f"{sheet.job}: {drawing.title}", 8)
            text_at(canvas, page[0] - m, page[1] - m, sheet.date, 8, align="right")
            self.y = page[1] - m - 10

        def need(self, height: float) -> None:
            if self.y - height < m:
                canvas.showPage()
                self.page()

        def head(self, text: str) -> None:
            self.need(18)
            text_at(canvas, m, self.y, text, 12, BOLD)
            self.y -= 7

        def paragraph(self, text: str, font: str = PLAIN) -> None:
            for i, line in enumerate(_wrapped(text, font, 8.5, room - 4)):
                self.need(5)
                text_at(canvas, m + (0 if i == 0 else 4), self.y, line, 8.5, font)
                self.y -= 4.3

    pen = Pen()
    pen.page()
    if sheet.schedule:
        pen.head("Edge schedule")
        _table(canvas, pen, sheet.schedule, m, room)
        pen.y -= 6
    notes = [*(["NOT SCALED: no length was known. Do not cut from this drawing."] if unscaled else []), *sheet.warnings]
    if notes or drawing.notes:
        pen.head("Notes")
        for text in notes:
            pen.paragraph(f"- {text}", BOLD)
        for text in drawing.notes:
            pen.paragraph(f"- {text}")
        pen.y -= 6
    pen.head("Cautions")
    for text in CAUTIONS:
        pen.paragraph(f"- {text}")
    canvas.showPage()


def _table(canvas: Any, pen: Any, rows: Sequence[Sequence[str]], left: float, room: float) -> None:
    """Rows with rules; columns as wide as they need, the last takes the rest and wraps."""
    size, gap = 7.5, 3.0
    count = max(len(r) for r in rows)
    wide = [
        max(_width(r[k], BOLD if i == 0 else PLAIN, size) for i, r in enumerate(rows) if k < len(r)) + gap for k in range(count)
    ]
    last = max(room - sum(wide[:-1]), 30.0)
    for i, row in enumerate(rows):
        font = BOLD if i == 0 else PLAIN
        end = _wrapped(row[-1], font, size, last - gap) if len(row) == count else [""]
        height = 4.0 * max(len(end), 1) + 1.6
        pen.need(height)
        x = left
        for k, cell in enumerate(row[: count - 1]):
            text_at(canvas, x, pen.y, cell, size, font)
            x += wide[k]
        for j, line in enumerate(end):
            text_at(canvas, x, pen.y - 4.0 * j, line, size, font)
        pen.y -= height - 1.2
        _rule(canvas, left, pen.y + 1.4, left + room, pen.y + 1.4, 0.3 if i == 0 else 0.1)
        pen.y -= 1.2


def edge_schedule(
    edges: Sequence[EdgeReport], tolerance_mm: float, unscaled: bool = False, denominator: int = 16
) -> list[tuple[str, ...]]:
    """Schedule of measured edges for :class:`ShopSheet`, header first."""
    rows: list[tuple[str, ...]] = [
        ("edge", "kind", "length mm", "inches", "U mm", "angle", "U start", "middle", "end", "verdict")
    ]
    for e in edges:
        shape = "" if e.shape == "line" else f", {e.shape}"
        verdict = edge_verdict(e, tolerance_mm, unscaled)
        rows.append(
            (
                e.edge_id,
                f"{e.kind}{shape}",
                f"{e.length_mm:.1f}",
                format_length(e.length_mm, "fraction", denominator),
                f"{e.length_U_mm:.1f}",
                f"{math.degrees(e.angle_rad):.2f}°",
                *(f"{u:.2f}" for u in e.offset_U_mm),
                f"{verdict.words}. {verdict.sentence}" if verdict.state != "good" else verdict.words,
            )
        )
    return rows
