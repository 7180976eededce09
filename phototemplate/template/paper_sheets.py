"""Sheets of paper: a frame with a title block, a drawing to scale, tables that flow over as many sheets as they need.

Everything is in mm on paper, origin at the sheet's lower left corner; no text is smaller than :data:`SHEET_TEXT_MM`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from phototemplate.template.constants import (
    INCH_SCALES,
    ROW,
    SCALES,
    SCALES_FROM,
    SHEET_MARGIN_MM,
    SHEET_TEXT_MM,
    TITLE_MM,
)
from phototemplate.template.drawing import Drawing, Item, Line, Polyline, Text, text_width_mm
from phototemplate.template.lengths import JobUnit
from phototemplate.template.rules import CAUTIONS

Rows = Sequence[Sequence[str]]
DrawingAt = Callable[[float], Drawing]
"""Height of texts in drawing mm -> drawing, so that texts come out readable at every scale"""


@dataclass(frozen=True)
class TitleBlock:
    """What stands in the title block; what is empty is left out."""

    job: str
    customer: str = ""
    address: str = ""
    date: str = ""
    drawn_by: str = ""
    tolerance: str = ""
    """What was asked for, as words"""
    revision: str = ""
    """A, B, C ... of drawings that are handed out"""


@dataclass(frozen=True)
class PaperSheet:
    """One sheet: a drawing in paper mm, origin at its lower left corner."""

    drawing: Drawing
    width_mm: float
    height_mm: float
    scale: int | None
    """1 : scale, None where nothing on it is to scale"""
    pictures: tuple[Picture, ...] = ()


@dataclass(frozen=True)
class Box:
    """An upright rectangle of a sheet, mm."""

    x0: float
    y0: float
    x1: float
    y1: float

    @property
    def width(self) -> float:
        return self.x1 - self.x0

    @property
    def height(self) -> float:
        return self.y1 - self.y0


@dataclass(frozen=True)
class Picture:
    """A picture file within a rectangle of a sheet, as large as fits."""

    path: Path
    room: Box


@dataclass(frozen=True)
class Page:
    """What one sheet holds within its frame."""

    heading: str
    items: tuple[Item, ...]
    scale: int | None = None
    pictures: tuple[Picture, ...] = ()


@dataclass(frozen=True)
class SheetStyle:
    """What all sheets of a set have in common."""

    title: TitleBlock
    size_mm: tuple[float, float]
    """Width and height as the sheet lies"""
    unit: JobUnit = "mm"
    unscaled: bool = False
    facts: tuple[str, ...] = ()
    """Material and units, for the title block"""

    @property
    def room(self) -> Box:
        """Within the frame, above the title block."""
        m = SHEET_MARGIN_MM
        return Box(m + 3.0, m + TITLE_MM + 3.0, self.size_mm[0] - m - 3.0, self.size_mm[1] - m - 3.0)


def scale_words(scale: int, unit: JobUnit) -> str:
    """``1:24 (1/2" = 1')``"""
    extra = f" ({INCH_SCALES[scale]})" if unit == "in" and scale in INCH_SCALES else ""
    return f"1:{scale}{extra}"


def to_scale(draw: DrawingAt, box: Box, unit: JobUnit) -> tuple[tuple[Item, ...], int]:
    """A drawing in the middle of a box at the largest usual scale that fits, and that scale."""
    scales = SCALES[unit]
    bare = draw(SHEET_TEXT_MM * 0.1).bounds()
    least = max((bare[2] - bare[0]) / box.width, (bare[3] - bare[1]) / box.height)
    for scale in [n for n in scales if n >= SCALES_FROM * least] or scales[-1:]:
        drawing = draw(SHEET_TEXT_MM * scale)
        x0, y0, x1, y1 = drawing.bounds()
        w, h = (x1 - x0) / scale, (y1 - y0) / scale
        if w <= box.width and h <= box.height:
            break
    left, low = box.x0 + (box.width - w) / 2.0, box.y0 + (box.height - h) / 2.0
    moved = drawing.moved(left - x0 / scale, low - y0 / scale, scale=1.0 / scale)
    # extended data belongs to the file that is cut, not to paper
    return tuple(replace(item, data=()) for item in moved.items), scale


def sheets_of(pages: Sequence[Page], style: SheetStyle) -> tuple[PaperSheet, ...]:
    """The pages with frame and title block."""
    out = []
    for k, page in enumerate(pages):
        frame = _frame(style, page, f"Sheet {k + 1} of {len(pages)}")
        name = f"{style.title.job}, sheet {k + 1} of {len(pages)}"
        out.append(PaperSheet(Drawing(name, (*frame, *page.items)), *style.size_mm, page.scale, page.pictures))
    return tuple(out)


def _frame(style: SheetStyle, page: Page, number: str) -> list[Item]:
    width, height = style.size_mm
    x0, y0, x1, y1 = SHEET_MARGIN_MM, SHEET_MARGIN_MM, width - SHEET_MARGIN_MM, height - SHEET_MARGIN_MM
    top, span = y0 + TITLE_MM, x1 - x0
    first, second = x0 + 0.36 * span, x0 + 0.66 * span
    items: list[Item] = [
        Polyline("SHEET-FRAME", ((x0, y0, 0.0), (x1, y0, 0.0), (x1, y1, 0.0), (x0, y1, 0.0)), True),
        Line("SHEET-FRAME", (x0, top), (x1, top)),
        *(Line("SHEET-FRAME", (x, y0), (x, top)) for x in (first, second)),
    ]
    title = style.title
    scale = "shape only, no known length" if style.unscaled else scale_words(page.scale, style.unit) if page.scale else ""
    what = [page.heading, *(f"{name}: {value}" for name, value in (
        ("Customer", title.customer), ("Site", title.address), ("Drawn by", title.drawn_by)) if value)]  # fmt: skip
    made = (("Scale", scale), ("Date", title.date), ("Asked for", title.tolerance))
    how = [f"{name}: {value}" for name, value in made if value]
    items.append(Text("SHEET-TEXT", (x0 + 2.0, top - 5.5), cut_to(title.job, 3.5, first - x0 - 4.0), 3.5))
    items += [Text("SHEET-TEXT", (x0 + 2.0, top - 10.7 - 4.4 * k), cut_to(text, SHEET_TEXT_MM, first - x0 - 4.0), SHEET_TEXT_MM)
              for k, text in enumerate(what[:4])]
    lines = [f"{number}, revision {title.revision}" if title.revision else number, *how, *style.facts]
    items += [Text("SHEET-TEXT", (first + 2.0, top - 5.0 - 4.4 * k), cut_to(text, SHEET_TEXT_MM, second - first - 4.0),
                   SHEET_TEXT_MM) for k, text in enumerate(lines[:5])]
    words = cut_to("Checked on site and agreed for cutting", SHEET_TEXT_MM, x1 - second - 4.0)
    items.append(Text("SHEET-TEXT", (second + 2.0, top - 5.0), words, SHEET_TEXT_MM))
    for k, text in enumerate(("Name", "Date", "Sign")):
        foot = top - 11.5 - 6.2 * k
        items.append(Text("SHEET-TEXT", (second + 2.0, foot), text, SHEET_TEXT_MM))
        items.append(Line("SHEET-FRAME", (second + 13.0, foot - 0.6), (x1 - 3.0, foot - 0.6)))
    if style.unscaled:
        never = "NOT SCALED: no length was known. Do not cut from this sheet."
        items.append(Text("NOT-SCALED", (x0 + 3.0, y1 - 4.5), never, 3.0))
    return items


# ------------------------------------------------------------------------------------------------- tables


def cut_to(text: str, height_mm: float, room_mm: float) -> str:
    """The text, shortened with dots where it does not fit."""
    if text_width_mm(text, height_mm) <= room_mm + 1e-6:
        return text
    short = text
    while len(short) > 1 and text_width_mm(f"{short}...", height_mm) > room_mm:
        short = short[:-1].rstrip()
    return f"{short}..."


def wrapped(text: str, height_mm: float, room_mm: float) -> list[str]:
    """Words broken to lines of a width; a longer word stands alone."""
    lines = [""]
    for word in text.split():
        if lines[-1] and text_width_mm(f"{lines[-1]} {word}", height_mm) > room_mm + 1e-6:
            lines.append("")
        lines[-1] = f"{lines[-1]} {word}".strip()
    return lines


@dataclass(frozen=True)
class Block:
    """Something that flows: items with their upper left corner at the origin, and how high it is."""

    items: tuple[Item, ...]
    height_mm: float
    keep_with_next: bool = False


def heading(text: str, layer: str = "SHEET-TEXT") -> Block:
    """A heading over what follows."""
    return Block((Text(layer, (0.0, -4.0), text, 3.0),), 6.0, keep_with_next=True)


def paragraph(text: str, room_mm: float, layer: str = "SHEET-TEXT") -> Block:
    """A paragraph of running text."""
    lines = wrapped(text, SHEET_TEXT_MM, room_mm)
    step = ROW * SHEET_TEXT_MM
    return Block(tuple(Text(layer, (0.0, -step * k - SHEET_TEXT_MM), line, SHEET_TEXT_MM) for k, line in enumerate(lines)),
                 step * len(lines) + 0.8)


def table_blocks(rows: Rows, room_mm: float) -> list[Block]:
    """A table, header first, a block a row; columns as wide as they need, cells wrapped where the room ends."""
    h, gap = SHEET_TEXT_MM, 3.0
    count = max(len(r) for r in rows)
    natural = [max(text_width_mm(r[k], h) for r in rows if k < len(r)) + gap for k in range(count)]
    widths = _shared(natural, room_mm)
    out = []
    for i, row in enumerate(rows):
        cells = [wrapped(cell, h, widths[k] - gap) for k, cell in enumerate(row)]
        deep = max(len(c) for c in cells)
        items: list[Item] = []
        for k, lines in enumerate(cells):
            x = sum(widths[:k])
            items += [Text("SHEET-TEXT", (x, -h - 1.0 - ROW * h * j), line, h) for j, line in enumerate(lines) if line]
        height = ROW * h * deep + 1.0
        if i == 0:
            items.append(Line("SHEET-FRAME", (0.0, -height), (sum(widths), -height)))
        out.append(Block(tuple(items), height, keep_with_next=i == 0))
    return out


def _shared(natural: Sequence[float], room_mm: float) -> list[float]:
    """Widths of columns: those that need less than an even share have it, the others share what is left."""
    widths = list(natural)
    if sum(widths) <= room_mm:
        return widths
    wide = set(range(len(widths)))
    left = room_mm
    while True:
        share = left / max(len(wide), 1)
        small = [k for k in wide if natural[k] <= share]
        if not small:
            break
        for k in small:
            wide.discard(k)
            left -= natural[k]
    return [left / len(wide) if k in wide else natural[k] for k in range(len(widths))]


def flowed(blocks: Iterable[Block], box: Box) -> list[list[Item]]:
    """Blocks one under the other from the top of a box; the items of every page they take."""
    pages: list[list[Item]] = [[]]
    y = box.y1
    todo = list(blocks)
    for k, block in enumerate(todo):
        last = k
        while todo[last].keep_with_next and last + 1 < len(todo):
            last += 1
        need = sum(b.height_mm for b in todo[k : last + 1])
        if y - need < box.y0 and pages[-1]:
            pages.append([])
            y = box.y1
        placed = Drawing("", block.items).moved(box.x0, y)
        pages[-1] += placed.items
        y -= block.height_mm
    return pages


def caution_blocks(room_mm: float) -> list[Block]:
    """The cautions printed with every set of sheets."""
    return [Block((), 4.0), heading("Cautions", "SHEET-CAUTION"), *(paragraph(c, room_mm, "SHEET-CAUTION") for c in CAUTIONS)]


