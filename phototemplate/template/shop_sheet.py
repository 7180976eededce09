"""The shop drawing on paper: plan to scale with title block, then schedules, checks, cautions and a signature line."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from phototemplate.model import Outline
from phototemplate.template.constants import SHEET_MARGIN_MM, SHEET_TEXT_MM, TITLE_MM
from phototemplate.template.drawing import Drawing, Item, Line, Polyline, Text, table, text_width_mm
from phototemplate.template.piece_types import Template
from phototemplate.template.schedule import (
    check_schedule,
    corner_schedule,
    edge_schedule,
    piece_schedule,
    shim_schedule,
    size_schedule,
)
from phototemplate.template.shop_drawing import splash_drawing, template_drawing

PAPERS_MM: dict[str, tuple[float, float]] = {
    "A4": (297.0, 210.0), "A3": (420.0, 297.0), "A2": (594.0, 420.0),
    "Letter": (279.4, 215.9), "Tabloid": (431.8, 279.4),
}  # fmt: skip
"""Landscape width and height"""
SCALES = (1, 2, 5, 8, 10, 12, 15, 16, 20, 24, 25, 30, 32, 40, 48, 50, 75, 100)
"""1 : n as drawn in metric and inch shops"""


@dataclass(frozen=True)
class TitleBlock:
    """What stands in the title block."""

    job: str
    customer: str = ""
    address: str = ""
    date: str = ""
    drawn_by: str = ""
    sheet_note: str = ""


@dataclass(frozen=True)
class PaperSheet:
    """One sheet: a drawing in paper mm, origin at its lower left corner."""

    drawing: Drawing
    width_mm: float
    height_mm: float
    scale: int | None
    """1 : scale, None where nothing on it is to scale"""


def shop_sheets(template: Template, outline: Outline, title: TitleBlock, paper: str = "A3") -> tuple[PaperSheet, ...]:
    """The plan at the largest usual scale that fits, then as many sheets of schedules as needed.

    ``paper`` is a key of :data:`PAPERS_MM`.
    """
    width, height = PAPERS_MM[paper]
    pages: list[tuple[list[Item], int | None]] = []
    def plan(h: float, sizes: bool) -> Drawing:
        return template_drawing(template, outline, text_height_mm=h, sizes=sizes, splashes=False)

    scale, items = _to_scale(plan, width, height)
    pages.append((items, scale))
    if template.splashes:
        scale, items = _to_scale(lambda h, _: splash_drawing(template, h), width, height)
        pages.append((items, scale))
    pages += [(items, None) for items in _schedules(template, width, height)]
    out = []
    for k, (items, n) in enumerate(pages):
        frame = _frame(title, width, height, n, k + 1, len(pages), outline.unscaled, template)
        name = f"{title.job}, sheet {k + 1} of {len(pages)}"
        out.append(PaperSheet(Drawing(name, (*frame, *items)), width, height, n))
    return tuple(out)


def _to_scale(draw: Callable[[float, bool], Drawing], width: float, height: float) -> tuple[int, list[Item]]:
    """A drawing at the largest usual scale that fits; ``draw`` takes the text height in real mm and whether with sizes."""
    room = (width - 2 * SHEET_MARGIN_MM - 6.0, height - 2 * SHEET_MARGIN_MM - TITLE_MM - 6.0)
    bare = draw(1.0, False).bounds()
    least = max((bare[2] - bare[0]) / room[0], (bare[3] - bare[1]) / room[1])
    for scale in [n for n in SCALES if n >= least] or SCALES[-1:]:
        drawing = draw(2.2 * scale, True)
        x0, y0, x1, y1 = drawing.bounds()
        if (x1 - x0) / scale <= room[0] and (y1 - y0) / scale <= room[1]:
            break
    w, h = (x1 - x0) / scale, (y1 - y0) / scale
    left = SHEET_MARGIN_MM + 3.0 + (room[0] - w) / 2.0
    low = SHEET_MARGIN_MM + TITLE_MM + 3.0 + (room[1] - h) / 2.0
    moved = drawing.moved(left - x0 / scale, low - y0 / scale, scale=1.0 / scale)
    # extended data belongs to the file that is cut, not to paper
    return scale, [replace(item, data=()) for item in moved.items]


def _frame(
    title: TitleBlock, width: float, height: float, scale: int | None, page: int, pages: int, unscaled: bool,
    template: Template,
) -> list[Item]:
    x0, y0, x1, y1 = SHEET_MARGIN_MM, SHEET_MARGIN_MM, width - SHEET_MARGIN_MM, height - SHEET_MARGIN_MM
    top = y0 + TITLE_MM
    items: list[Item] = [
        Polyline("SHEET-FRAME", ((x0, y0, 0.0), (x1, y0, 0.0), (x1, y1, 0.0), (x0, y1, 0.0)), True),
        Line("SHEET-FRAME", (x0, top), (x1, top)),
    ]
    columns = (0.0, 0.26, 0.46, 0.64, 1.0)
    span = x1 - x0
    for share in columns[1:-1]:
        items.append(Line("SHEET-FRAME", (x0 + share * span, y0), (x0 + share * span, top)))
    words = f"1 : {scale}" if scale else "not to scale"
    material = template.spec.shop.material
    blocks = (
        (f"Job: {title.job}", f"Customer: {title.customer}", f"Site: {title.address}", title.sheet_note),
        (f"Date: {title.date}", f"Drawn by: {title.drawn_by}", f"Sheet {page} of {pages}",
         "Scale: shape only, no known length" if unscaled else f"Scale: {words}"),
        (f"Material: {material.name}", f"Thickness: {material.thickness:g} mm", "Unit: mm (inch in brackets)",
         "± is U, k = 2 (about 95 %)"),
    )
    for block, share in zip(blocks, columns[:3], strict=True):
        for row, text in enumerate(block):
            items.append(Text("SHEET-TEXT", (x0 + share * span + 2.0, top - 5.0 - 5.6 * row), text, SHEET_TEXT_MM + 0.2))
    x = x0 + columns[3] * span + 2.0
    items += [
        Text("SHEET-TEXT", (x, top - 5.0), "Checked against the cabinets and agreed for cutting:", SHEET_TEXT_MM),
        Line("SHEET-FRAME", (x, y0 + 7.0), (x1 - 32.0, y0 + 7.0)),
        Text("SHEET-TEXT", (x, y0 + 3.0), "name and signature", SHEET_TEXT_MM - 0.3),
        Line("SHEET-FRAME", (x1 - 28.0, y0 + 7.0), (x1 - 4.0, y0 + 7.0)),
        Text("SHEET-TEXT", (x1 - 28.0, y0 + 3.0), "date", SHEET_TEXT_MM - 0.3),
    ]
    return items


# ------------------------------------------------------------------------------------------------ schedules


def _schedules(template: Template, width: float, height: float) -> list[list[Item]]:
    """Tables flowed over as many pages as needed, in one column the width of the sheet."""
    room = width - 2 * SHEET_MARGIN_MM - 8.0
    parts: list[tuple[str, list[tuple[str, ...]]]] = [
        ("Pieces", piece_schedule(template)),
        ("Edges, as the piece runs anticlockwise", edge_schedule(template)),
        ("Corners", corner_schedule(template)),
        ("Overall, depths and diagonals", size_schedule(template, ("overall", "depth", "diagonal"))),
        ("Cut-outs and openings", size_schedule(template, ("cut-out", "opening", "gap"))),
        ("Shims, against the highest place", shim_schedule(template)),
        ("Checks; usual limits warn, they do not replace an engineer, the code or the maker's sheet",
         check_schedule(template)),
    ]
    flow: list[tuple[str, list[tuple[str, ...]]]] = [(t, rows) for t, rows in parts if len(rows) > 1]
    pages: list[list[Item]] = [[]]
    top, bottom = height - SHEET_MARGIN_MM - 5.0, SHEET_MARGIN_MM + TITLE_MM + 4.0
    y = top
    for heading, rows in flow:
        h = _fitting_height(rows, room)
        step = 1.9 * h
        rest = rows[1:]
        while rest:
            fit = int((y - bottom - 7.0) // step) - 1
            if fit < min(3, len(rest)):
                pages.append([])
                y = top
                continue
            pages[-1].append(Text("SHEET-TEXT", (SHEET_MARGIN_MM + 4.0, y - 4.0), heading, 2.6))
            now, rest = rest[:fit], rest[fit:]
            pages[-1] += table([rows[0], *now], (SHEET_MARGIN_MM + 4.0, y - 6.0), h)
            y -= 6.0 + step * (len(now) + 1) + 4.0
    return [[*page] for page in _with_cautions(template, pages, y, bottom, top, room)]


def _fitting_height(rows: Sequence[Sequence[str]], room: float) -> float:
    """Text height at which the widest row fits, at most 2 mm."""
    columns = max(len(r) for r in rows)
    chars = sum(max(len(r[k]) for r in rows if k < len(r)) for k in range(columns))
    return min(SHEET_TEXT_MM, room / (1.12 * text_width_mm("x", 1.0) * chars + 1.6 * columns))


def _with_cautions(
    template: Template, pages: list[list[Item]], y: float, bottom: float, top: float, room: float
) -> list[list[Item]]:
    lines: list[str] = []
    for caution in template.cautions:
        lines += _wrapped(caution, room, SHEET_TEXT_MM)
    need = 8.0 + 3.6 * len(lines)
    if y - need < bottom:
        pages.append([])
        y = top
    page = pages[-1]
    page.append(Text("SHEET-CAUTION", (SHEET_MARGIN_MM + 4.0, y - 4.0), "Cautions", 2.6))
    for k, text in enumerate(lines):
        page.append(Text("SHEET-CAUTION", (SHEET_MARGIN_MM + 4.0, y - 8.5 - 3.6 * k), text, SHEET_TEXT_MM))
    return pages


def _wrapped(text: str, room: float, height: float) -> list[str]:
    """Words broken to lines of a width."""
    limit = max(math.floor(room / text_width_mm("x", height)), 20)
    lines = [""]
    for word in text.split():
        if len(lines[-1]) + len(word) + 1 > limit:
            lines.append("  ")
        lines[-1] = f"{lines[-1]} {word}".strip() if lines[-1].strip() else lines[-1] + word
    return lines
