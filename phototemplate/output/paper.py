"""Draw a :class:`~phototemplate.template.drawing.Drawing` on a PDF page at a scale."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from phototemplate.errors import InputError
from phototemplate.output.constants import CAPITAL, PAPER_DASHES, PT_PER_MM, ROLL_WIDTHS_MM
from phototemplate.output.text import cp1252
from phototemplate.template.constants import PAPERS_MM
from phototemplate.template.dimension_parts import take_apart
from phototemplate.template.drawing import (
    LAYERS,
    Arc,
    Circle,
    Dimension,
    Item,
    Line,
    Point,
    Polyline,
    Text,
    flatten_arc,
    flatten_polyline,
)

PLAIN, BOLD = "Helvetica", "Helvetica-Bold"



@dataclass(frozen=True)
class PaperMapping:
    """Mapping of the drawing onto the page: paper = (drawing - origin) / scale + corner, all in mm."""

    origin: Point
    corner: Point
    scale: float = 1.0
    """Drawing mm per paper mm: 20 means 1:20"""

    def pt(self, point: Point) -> Point:
        """Page position in points."""
        return (
            PT_PER_MM * ((point[0] - self.origin[0]) / self.scale + self.corner[0]),
            PT_PER_MM * ((point[1] - self.origin[1]) / self.scale + self.corner[1]),
        )


def paper_size(name: str) -> tuple[float, float]:
    """Width and height of a paper in mm; ``"610 roll"`` or ``"24 in roll"`` is a roll of that width, 5 m long at most.

    Raises
    ------
    InputError
        For a name that is not known.
    """
    for known, size in PAPERS_MM.items():
        if known.lower() == name.strip().lower():
            return size
    words = name.lower().split()
    if words and words[-1] == "roll" and len(words) in (2, 3):
        try:
            width = float(words[0]) * (25.4 if len(words) == 3 and words[1] == "in" else 1.0)
        except ValueError:
            width = 0.0
        if ROLL_WIDTHS_MM[0] <= width <= ROLL_WIDTHS_MM[1]:
            return (width, math.inf)
    raise InputError(f"Paper {name!r} is not known; use {', '.join(PAPERS_MM)} or a roll such as '610 roll' or '24 in roll'.")


def new_canvas(stream: Any, title: str) -> Any:
    """A canvas on a binary stream; the same drawing gives the same bytes."""
    from reportlab.pdfgen.canvas import Canvas

    canvas = Canvas(stream, invariant=1, pageCompression=1)
    canvas.setTitle(cp1252(title))
    canvas.setCreator("phototemplate")
    canvas.setLineCap(1)
    canvas.setLineJoin(1)
    return canvas


def text_at(canvas: Any, x_mm: float, y_mm: float, text: str, size_pt: float, font: str = PLAIN, align: str = "left") -> None:
    """One line of text, its foot at a place of the page in mm."""
    canvas.setFont(font, size_pt)
    draw = {"left": canvas.drawString, "right": canvas.drawRightString, "centre": canvas.drawCentredString}[align]
    draw(x_mm * PT_PER_MM, y_mm * PT_PER_MM, cp1252(text))


def draw_items(canvas: Any, items: Iterable[Item], place: PaperMapping) -> None:
    """Draw items; text heights scale with the drawing."""
    for item in items:
        layer = LAYERS[item.layer]
        colour = [c / 255.0 for c in layer.rgb]
        canvas.setStrokeColorRGB(*colour)
        canvas.setFillColorRGB(*colour)
        canvas.setLineWidth(layer.width_mm * PT_PER_MM)
        canvas.setDash([d * PT_PER_MM for d in PAPER_DASHES[layer.stroke]])
        _draw(canvas, item, place)
    canvas.setDash([])


def _draw(canvas: Any, item: Item, place: PaperMapping) -> None:
    tolerance = 0.01 * place.scale  # a hundredth of a millimetre on paper
    match item:
        case Line():
            canvas.line(*place.pt(item.start), *place.pt(item.end))
        case Circle():
            x, y = place.pt(item.centre)
            canvas.circle(x, y, item.radius_mm / place.scale * PT_PER_MM, stroke=1, fill=0)
        case Arc():
            sweep = (item.end_rad - item.start_rad) % (2 * math.pi) or 2 * math.pi
            points = flatten_arc(item.centre, item.radius_mm, item.start_rad, sweep, tolerance)
            _chain(canvas, [(float(x), float(y)) for x, y in points], place, False)
        case Polyline():
            points = flatten_polyline(item.array, item.closed, tolerance)
            _chain(canvas, [(float(x), float(y)) for x, y in points], place, item.closed, item.filled)
        case Text():
            _text(canvas, item, place)
        case Dimension():
            _dimension(canvas, item, place)


def _chain(canvas: Any, points: list[Point], place: PaperMapping, closed: bool, filled: bool = False) -> None:
    if not points:
        return
    path = canvas.beginPath()
    path.moveTo(*place.pt(points[0]))
    for point in points[1:]:
        path.lineTo(*place.pt(point))
    if closed:
        path.close()
    canvas.drawPath(path, stroke=0 if filled else 1, fill=1 if filled else 0)


def _text(canvas: Any, item: Text, place: PaperMapping) -> None:
    height = item.height_mm / place.scale * PT_PER_MM
    down = {"bottom": 0.0, "middle": 0.5, "top": 1.0}[item.valign] * height
    _words(canvas, place.pt(item.position), item.rotation_rad, item.text, height, item.align, -down)


def _words(canvas: Any, at: Point, angle_rad: float, text: str, height: float, align: str, lift: float) -> None:
    """Text of so high capitals (points), turned, lifted across its direction."""
    canvas.saveState()
    canvas.translate(*at)
    canvas.rotate(math.degrees(angle_rad))
    canvas.setFont(PLAIN, height / CAPITAL)
    draw = {"left": canvas.drawString, "right": canvas.drawRightString, "centre": canvas.drawCentredString}[align]
    draw(0, lift, cp1252(text))
    canvas.restoreState()


def _dimension(canvas: Any, item: Dimension, place: PaperMapping) -> None:
    parts = take_apart(item, item.height_mm)
    for a, b in parts.lines:
        canvas.line(*place.pt(a), *place.pt(b))
    height = item.height_mm / place.scale * PT_PER_MM
    at = place.pt(parts.text_at)
    _words(canvas, at, parts.angle_rad, item.printed(), height, "centre", 0.45 * height)
