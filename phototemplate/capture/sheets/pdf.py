"""Lowers pages to a vector PDF at exact scale. Fonts are the standard ones every reader has: none is embedded."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path

from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from phototemplate.atomic import write_bytes_atomic
from phototemplate.capture.sheets.drawing import Blocks, Item, Page, Polygon, Stroke, Text


def write_pdf(path: Path, pages: Sequence[Page], title: str, scale: tuple[float, float] = (1.0, 1.0)) -> None:
    """Writes pages to one PDF file; the file appears whole or not at all.

    Args:
        path: the file to write; its folder must exist.
        pages: at least one page, drawn at nominal size.
        title: title of the document.
        scale: measured print scale (across, up): printed length / drawn length. Everything is drawn larger by its
            inverse about the middle of the page, so that the print has the nominal size.

    Raises:
        OutputError: the file cannot be written.
    """
    assert pages, "a PDF has at least one page"
    write_bytes_atomic(path, _pdf_bytes(pages, title, scale))


def _pdf_bytes(pages: Sequence[Page], title: str, scale: tuple[float, float]) -> bytes:
    canvas = Canvas("pages.pdf", pageCompression=1, invariant=1)
    canvas.setTitle(title)
    canvas.setCreator("phototemplate")
    canvas.setAuthor("phototemplate")
    canvas.setViewerPreference("PrintScaling", "None")  # readers then offer 100 % as the default
    for page in pages:
        width, height = page.size_mm
        canvas.setPageSize((width * mm, height * mm))
        canvas.bookmarkPage(page.title)
        canvas.addOutlineEntry(page.title, page.title)
        canvas.saveState()
        canvas.scale(mm, mm)
        canvas.translate(width / 2, height / 2)
        canvas.scale(1 / scale[0], 1 / scale[1])
        canvas.translate(-width / 2, -height / 2)
        _draw(canvas, page.items)
        canvas.restoreState()
        canvas.showPage()
    data: bytes = canvas.getpdfdata()
    return data


def _draw(canvas: Canvas, items: Iterable[Item]) -> None:
    for item in items:
        if isinstance(item, Text):
            _draw_text(canvas, item)
            continue
        path = canvas.beginPath()
        if isinstance(item, Blocks):
            canvas.setFillColorRGB(*item.ink)
            for x0, y0, x1, y1 in item.boxes:
                path.rect(x0, y0, x1 - x0, y1 - y0)
            canvas.drawPath(path, stroke=0, fill=1)
            continue
        path.moveTo(*item.points[0])
        for point in item.points[1:]:
            path.lineTo(*point)
        if isinstance(item, Polygon):
            path.close()
            canvas.setFillColorRGB(*item.ink)
            canvas.drawPath(path, stroke=0, fill=1)
        else:
            _draw_stroke(canvas, item, path)


def _draw_stroke(canvas: Canvas, item: Stroke, path: object) -> None:
    canvas.setStrokeColorRGB(*item.ink)
    canvas.setLineWidth(item.width)
    canvas.setLineCap(0 if item.dash else 2)
    canvas.setLineJoin(0)
    canvas.setDash(list(item.dash) if item.dash else [])
    canvas.drawPath(path, stroke=1, fill=0)


def _draw_text(canvas: Canvas, item: Text) -> None:
    canvas.saveState()
    canvas.setFillColorRGB(*item.ink)
    canvas.setFont(item.font, item.size)
    canvas.translate(*item.at)
    if item.turned:
        canvas.rotate(90)
    shift = {"left": 0.0, "centre": 0.5, "right": 1.0}[item.align] * item.width
    canvas.drawString(-shift, 0, item.text)
    canvas.restoreState()
