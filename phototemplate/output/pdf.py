"""Sheets as PDF, and the schedule of measured edges that stands on them."""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from phototemplate.atomic import write_bytes_atomic
from phototemplate.errors import InputError
from phototemplate.model import EdgeReport
from phototemplate.output.constants import PICTURE_PX_PER_MM, PT_PER_MM
from phototemplate.output.paper import PaperMapping, draw_items, new_canvas
from phototemplate.output.report.words import edge_verdict
from phototemplate.template.lengths import LengthWords
from phototemplate.template.paper_sheets import PaperSheet, Picture
from phototemplate.units import format_U

__all__ = ["edge_schedule", "sheets_pdf", "write_sheets_pdf"]


def write_sheets_pdf(sheets: Sequence[PaperSheet], path: str | Path, title: str) -> Path:
    """Write sheets, a page each.

    Raises
    ------
    OutputError
        When the file cannot be written; the earlier file stays.
    """
    write_bytes_atomic(path, sheets_pdf(sheets, title))
    return Path(path)


def sheets_pdf(sheets: Sequence[PaperSheet], title: str) -> bytes:
    """The file of :func:`write_sheets_pdf`; the same sheets give the same bytes."""
    stream = io.BytesIO()
    canvas = new_canvas(stream, title)
    for sheet in sheets:
        canvas.setPageSize((sheet.width_mm * PT_PER_MM, sheet.height_mm * PT_PER_MM))
        draw_items(canvas, sheet.drawing.items, PaperMapping((0.0, 0.0), (0.0, 0.0)))
        for picture in sheet.pictures:
            _picture(canvas, picture)
        canvas.showPage()
    canvas.save()
    return stream.getvalue()


def _picture(canvas: Any, picture: Picture) -> None:
    """A picture file, upright as it was taken, no finer than paper shows."""
    from PIL import Image, ImageOps
    from reportlab.lib.utils import ImageReader

    try:
        with Image.open(picture.path) as opened:
            image = ImageOps.exif_transpose(opened).convert("RGB")
    except (OSError, ValueError) as exc:
        raise InputError(f"Site photo {picture.path} cannot be read; save it as JPEG, or take it out of the job file.") from exc
    room = picture.room
    image.thumbnail((round(room.width * PICTURE_PX_PER_MM), round(room.height * PICTURE_PX_PER_MM)))
    scale = min(room.width / image.width, room.height / image.height)
    w, h = image.width * scale, image.height * scale
    x, y = room.x0 + (room.width - w) / 2.0, room.y1 - h
    canvas.drawImage(ImageReader(image), x * PT_PER_MM, y * PT_PER_MM, w * PT_PER_MM, h * PT_PER_MM)


def edge_schedule(
    edges: Sequence[EdgeReport], tolerance_mm: float, words: LengthWords, unscaled: bool = False, withheld: bool = False
) -> list[tuple[str, ...]]:
    """Schedule of measured edges for the sheets, header first."""
    rows: list[tuple[str, ...]] = [
        ("edge", "kind", "length ±U", "angle", "U across: start", "middle", "end", "verdict")
    ]
    for e in edges:
        shape = "" if e.shape == "line" else f", {e.shape}"
        verdict = edge_verdict(e, tolerance_mm, unscaled, withheld=withheld)
        rows.append(
            (
                e.edge_id,
                f"{e.kind}{shape}",
                f"{words.length(e.length_mm)} as seen"
                if math.isnan(e.length_U_mm)
                else words.length(e.length_mm, e.length_U_mm),
                f"{math.degrees(e.angle_rad):.2f}°",
                *(format_U(u, 2, " mm") for u in e.offset_U_mm),
                f"{verdict.words}. {verdict.sentence}" if verdict.state != "good" else verdict.words,
            )
        )
    return rows
