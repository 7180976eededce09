"""Full-size PDF to lay on site: the drawing at 1:1, tiled over sheets with registration marks, or along a roll."""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from phototemplate.atomic import write_bytes_atomic
from phototemplate.errors import InputError
from phototemplate.model import Outline
from phototemplate.output.constants import (
    LONGEST_PAGE_MM,
    MOST_PAGES,
    OVERLAP_MM,
    PAGE_MARGIN_MM,
    PAGE_NAME_PT,
    PAGE_NAME_SHARE,
    PT_PER_MM,
    REACH_MM,
)
from phototemplate.output.paper import BOLD, PaperMapping, draw_items, new_canvas, paper_size, text_at
from phototemplate.template.drawing import Circle, Drawing, Item, Polyline, Text, item_points
from phototemplate.template.piece_types import Template
from phototemplate.template.quantities import State

__all__ = ["Tiling", "region_named", "write_full_size_pdf"]

Region = tuple[float, float, float, float]
"""(xmin, ymin, xmax, ymax) in plan mm"""
_LEFT_OUT = ("FOUND-BAND", "FOUND-TABLE", "FOUND-SIZES", "STONE-SIZES", "FOUND-POINTS")


@dataclass(frozen=True)
class Tiling:
    """Pages over a region: page (column, row) shows ``region + step * (column, row)``, ``shown`` wide and high."""

    region: tuple[float, float, float, float]
    """(xmin, ymin, xmax, ymax) of what is to be seen, drawing mm"""
    page_mm: tuple[float, float]
    shown_mm: tuple[float, float]
    columns: int
    rows: int

    @property
    def step_mm(self) -> tuple[float, float]:
        """From one page to the next."""
        return (self.shown_mm[0] - OVERLAP_MM, self.shown_mm[1] - OVERLAP_MM)

    def corner(self, column: int, row: int) -> tuple[float, float]:
        """Drawing position of the lower left of a page's window."""
        return (self.region[0] + column * self.step_mm[0], self.region[1] + row * self.step_mm[1])

    def window(self, column: int, row: int) -> shapely.Polygon:
        """What a page shows."""
        x, y = self.corner(column, row)
        return shapely.box(x, y, x + self.shown_mm[0], y + self.shown_mm[1])

    def mark(self, i: int, j: int) -> tuple[float, float]:
        """Registration mark (i, j), in the middle of the overlap left of column i and below row j."""
        x, y = self.corner(i, j)
        return (x + OVERLAP_MM / 2, y + OVERLAP_MM / 2)

    @staticmethod
    def name(column: int, row: int) -> str:
        """``B3``: column B, row 3, counted from the lower left."""
        letters = ""
        column += 1
        while column:
            column, rest = divmod(column - 1, 26)
            letters = chr(ord("A") + rest) + letters
        return f"{letters}{row + 1}"


def write_full_size_pdf(
    drawing: Drawing,
    path: str | Path,
    *,
    paper: str = "A4",
    region: Region | None = None,
    unscaled: bool = False,
) -> Path:
    """Write the drawing at full size.

    Parameters
    ----------
    paper
        ``A4``, ``Letter`` ... or a roll, ``"610 roll"``, ``"24 in roll"``.
    region
        Only this part of the plan, to try one doubtful corner or edge; see :func:`region_named`.

    Raises
    ------
    InputError
        When the paper is not known, nothing lies in the region, or it would take an unreasonable number of pages.
    OutputError
        When the file cannot be written; the earlier file stays.
    """
    if unscaled:
        raise InputError("A full-size print needs a known length; measure one, write it into the job and measure again.")
    items = [i for i in drawing.items if not i.layer.startswith("SHEET-") and i.layer not in _LEFT_OUT]
    tiling = tile(items, paper, region)
    write_bytes_atomic(path, _pages(drawing, items, tiling))
    return Path(path)


def region_named(name: str, outline: Outline, template: Template | None, reach_mm: float = REACH_MM) -> Region:
    """What is printed of the plan: round a corner ``"front/left"``, along an edge ``"left"``, or one piece.

    Finished pieces come before the measured outline. Raises ``InputError`` naming what there is.
    """
    places = _places(outline, template)
    if name not in places and "/" in name:
        name = "/".join(reversed(name.split("/")))
    if name not in places:
        raise InputError(f"There is no corner, edge or piece {name!r} to print; choose from {', '.join(places) or 'none'}.")
    points = np.array(places[name])
    low, high = points.min(axis=0) - reach_mm, points.max(axis=0) + reach_mm
    return (float(low[0]), float(low[1]), float(high[0]), float(high[1]))


def _places(outline: Outline, template: Template | None) -> dict[str, list[tuple[float, float]]]:
    """Every name a region can have, with the places it spans."""
    state = State(outline)
    out: dict[str, list[tuple[float, float]]] = {}
    for loop in outline.loops:
        for i, xy in enumerate(loop.corners_mm[: len(loop.edge_ids)]):
            if loop.closed or i:
                out[f"{loop.edge_ids[i - 1]}/{loop.edge_ids[i]}"] = [(float(xy[0]), float(xy[1]))]
    for segment in outline.segments:
        out[segment.edge_id] = [(float(p.x), float(p.y)) for p in state.stretch(segment.edge_id)]
    for piece in template.pieces if template is not None else ():
        out |= {c.name: [c.at] for c in piece.corners}
        out |= {e.edge_id: [e.start, e.end] for e in piece.edges}
        out[piece.piece_id] = [(x, y) for x, y, _ in piece.vertices]
    return out


def tile(items: Sequence[Item], paper: str, region: Region | None = None) -> Tiling:
    """Lay pages over the items, or over a region of them, upright or on their side, whichever takes fewer."""
    if region is not None:
        items = [i for i in items if shapely.intersects(_shape(i), shapely.box(*region))]
        if not items:
            raise InputError("Nothing is drawn in the region to be printed; choose another corner, edge or piece.")
    else:
        shapes = [_shape(i) for i in items]
        if not shapes:
            raise InputError("There is nothing to print at full size; measure edges first.")
        x0, y0, x1, y1 = shapely.total_bounds(shapes)
        region = (float(x0) - 12.0, float(y0) - 12.0, float(x1) + 12.0, float(y1) + 12.0)
    width, height = region[2] - region[0], region[3] - region[1]
    short, long = paper_size(paper)
    choices = []
    if math.isinf(long):
        long_mm = min(max(width, height) + 2 * PAGE_MARGIN_MM + OVERLAP_MM, LONGEST_PAGE_MM)
        sizes = [(short, long_mm), (long_mm, short)]
    else:
        sizes = [(short, long), (long, short)]
    for page in sizes:
        shown = (page[0] - 2 * PAGE_MARGIN_MM, page[1] - 2 * PAGE_MARGIN_MM)
        columns = max(math.ceil((width - OVERLAP_MM) / (shown[0] - OVERLAP_MM)), 1)
        rows = max(math.ceil((height - OVERLAP_MM) / (shown[1] - OVERLAP_MM)), 1)
        tiling = Tiling(region, page, shown, columns, rows)
        choices.append((len(pages_with(tiling, items)), tiling))
    count, best = min(choices, key=lambda c: c[0])
    if count > MOST_PAGES:
        raise InputError(f"That would take {count} pages; print only a corner, or use larger paper or a roll.")
    return best


def pages_with(tiling: Tiling, items: Sequence[Item]) -> list[tuple[int, int]]:
    """(column, row) of the pages on which something of the drawing lies."""
    tree = shapely.STRtree([_shape(i) for i in items])
    out = []
    for row in range(tiling.rows):
        for column in range(tiling.columns):
            if len(tree.query(tiling.window(column, row), predicate="intersects")):
                out.append((column, row))
    return out


def _shape(item: Item) -> shapely.Geometry:
    """What of an item leaves ink (texts as their box)."""
    points = item_points(item, 0.5)
    if isinstance(item, Text):
        return shapely.Polygon(points)
    if isinstance(item, (Polyline, Circle)) and len(points) > 2 and (isinstance(item, Circle) or item.closed):
        return shapely.LinearRing(points)
    return shapely.LineString(points) if len(points) > 1 else shapely.Point(*points[0])


def _pages(drawing: Drawing, items: Sequence[Item], tiling: Tiling) -> bytes:
    stream = io.BytesIO()
    canvas = new_canvas(stream, f"{drawing.title}, full size")
    pages = pages_with(tiling, items)
    if len(pages) > 1:
        _overview(canvas, drawing, items, tiling, pages)
    for column, row in pages:
        _page(canvas, drawing, items, tiling, column, row)
    canvas.save()
    return stream.getvalue()


def _page(canvas: Any, drawing: Drawing, items: Sequence[Item], tiling: Tiling, column: int, row: int) -> None:
    """One tile: the drawing in its window, registration marks, name, check rulers."""
    w, h = tiling.page_mm
    canvas.setPageSize((w * PT_PER_MM, h * PT_PER_MM))
    place = PaperMapping(tiling.corner(column, row), (PAGE_MARGIN_MM, PAGE_MARGIN_MM))
    canvas.saveState()
    clip = canvas.beginPath()
    rim = PAGE_MARGIN_MM * PT_PER_MM
    clip.rect(rim, rim, tiling.shown_mm[0] * PT_PER_MM, tiling.shown_mm[1] * PT_PER_MM)
    canvas.clipPath(clip, stroke=0, fill=0)
    window = tiling.window(column, row).buffer(5.0)
    draw_items(canvas, [i for i in items if shapely.intersects(_shape(i), window)], place)
    canvas.restoreState()
    _marks(canvas, tiling, column, row, place)
    canvas.setFillColorRGB(0, 0, 0)
    name = f"{tiling.name(column, row)}  {drawing.title}, full size"
    text_at(canvas, PAGE_MARGIN_MM + 2, h - 7.5, name, 9, BOLD)
    text_at(canvas, w - PAGE_MARGIN_MM - 2, h - 7.5, "print at 100 %, no scaling", 8, align="right")
    _rulers(canvas, w)
    canvas.showPage()


def _marks(canvas: Any, tiling: Tiling, column: int, row: int, place: PaperMapping) -> None:
    """Crosses in ring at the corners of the grid; the same mark stands on every page that overlaps there."""
    canvas.setDash([])
    canvas.setStrokeColorRGB(0.35, 0.35, 0.35)
    canvas.setFillColorRGB(0.35, 0.35, 0.35)
    canvas.setLineWidth(0.15 * PT_PER_MM)
    for i in (column, column + 1):
        for j in (row, row + 1):
            x, y = place.pt(tiling.mark(i, j))
            r = 3.0 * PT_PER_MM
            canvas.circle(x, y, r, stroke=1, fill=0)
            canvas.line(x - 1.6 * r, y, x + 1.6 * r, y)
            canvas.line(x, y - 1.6 * r, x, y + 1.6 * r)
            text_at(canvas, x / PT_PER_MM + 3.4, y / PT_PER_MM + 1.2, f"{i}.{j}", 6)


def _rulers(canvas: Any, width_mm: float) -> None:
    """100 mm and 4 in along the foot, to check the print."""
    canvas.setStrokeColorRGB(0, 0, 0)
    canvas.setLineWidth(0.2 * PT_PER_MM)
    y = 6.0
    for left, length, step, text in (
        (PAGE_MARGIN_MM, 100.0, 10.0, "100 mm"),
        (PAGE_MARGIN_MM + 118.0, 4 * 25.4 if width_mm > 250 else 2 * 25.4, 25.4 / 2, "4 in" if width_mm > 250 else "2 in"),
    ):
        canvas.line(left * PT_PER_MM, y * PT_PER_MM, (left + length) * PT_PER_MM, y * PT_PER_MM)
        for k in range(round(length / step) + 1):
            x = (left + k * step) * PT_PER_MM
            tall = 2.2 if k in (0, round(length / step)) else 1.2
            canvas.line(x, y * PT_PER_MM, x, (y + tall) * PT_PER_MM)
        text_at(canvas, left + length + 1.5, y, text, 7)


def _overview(canvas: Any, drawing: Drawing, items: Sequence[Item], tiling: Tiling, pages: Sequence[tuple[int, int]]) -> None:
    """First page: how the tiles lie."""
    w, h = tiling.page_mm if min(tiling.page_mm) > 150 and max(tiling.page_mm) < 700 else (210.0, 297.0)
    canvas.setPageSize((w * PT_PER_MM, h * PT_PER_MM))
    far = tiling.corner(tiling.columns - 1, tiling.rows - 1)
    span = (far[0] + tiling.shown_mm[0] - tiling.region[0], far[1] + tiling.shown_mm[1] - tiling.region[1])
    room = (w - 30.0, h - 80.0)
    scale = max(span[0] / room[0], span[1] / room[1])
    place = PaperMapping((tiling.region[0], tiling.region[1]), (15.0, 50.0), scale)
    canvas.setLineWidth(0.1 * PT_PER_MM)
    canvas.saveState()
    clip = canvas.beginPath()
    clip.rect(*place.pt(place.origin), span[0] / scale * PT_PER_MM, span[1] / scale * PT_PER_MM)
    canvas.clipPath(clip, stroke=0, fill=0)
    draw_items(canvas, [i for i in items if not isinstance(i, Text)], place)
    canvas.restoreState()
    canvas.setLineWidth(0.1 * PT_PER_MM)
    for column, row in pages:
        x, y = tiling.corner(column, row)
        a, b = place.pt((x, y)), place.pt((x + tiling.shown_mm[0], y + tiling.shown_mm[1]))
        canvas.setStrokeColorRGB(0.6, 0.6, 0.6)
        canvas.rect(a[0], a[1], b[0] - a[0], b[1] - a[1])
        canvas.setFillColorRGB(0.45, 0.45, 0.45)
        middle = ((a[0] + b[0]) / 2 / PT_PER_MM, (a[1] + b[1]) / 2 / PT_PER_MM)
        size = min(PAGE_NAME_PT, PAGE_NAME_SHARE[1] * (b[1] - a[1]), PAGE_NAME_SHARE[0] * (b[0] - a[0]))
        text_at(canvas, *middle, tiling.name(column, row), size, align="centre")
    canvas.setFillColorRGB(0, 0, 0)
    text_at(canvas, 15, h - 18, f"{drawing.title}, full size on {len(pages)} pages", 13, BOLD)
    lines = [
        "Print every page at 100 % and check the rulers at its foot with a tape before using it.",
        "Lay the pages so that rings with the same number cover each other; tape them down.",
        "Paper stretches with moisture and printers err: for a try on site, not to cut from.",
    ]
    for i, text in enumerate(lines):
        text_at(canvas, 15, 38 - 5.5 * i, text, 8.5)
    _rulers(canvas, w)
    canvas.showPage()
