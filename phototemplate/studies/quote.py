"""Quote as PDF and CSV, and a DXF that says that it is an estimate."""

from __future__ import annotations

import io
import textwrap
from datetime import date
from pathlib import Path

from phototemplate.atomic import write_bytes_atomic
from phototemplate.output.csv import write_rows_csv
from phototemplate.output.dxf import Unit, write_dxf
from phototemplate.output.paper import BOLD, PT_PER_MM, PaperMapping, draw_items, new_canvas, paper_size, text_at
from phototemplate.studies.constants import FOOT2_MM2, FOOT_MM, POUND_KG
from phototemplate.studies.estimate import NOT_A_TEMPLATE, Estimate
from phototemplate.studies.packing import packing_drawing
from phototemplate.studies.pricing import Price, PriceLine, Range
from phototemplate.template.drawing import Drawing, Item, Text
from phototemplate.template.outline_drawing import outline_drawing
from phototemplate.template.rules import CAUTIONS

CSV_COLUMNS = ("what", "quantity", "unit_price", "low", "likely", "high", "unit")


def range_words(r: Range) -> str:
    """Value with its range, in the units of the trade."""
    if r.unit == "mm2":
        return f"{r.value / FOOT2_MM2:.1f} ft2 ({r.low / FOOT2_MM2:.1f} to {r.high / FOOT2_MM2:.1f}); {r.value / 1e6:.2f} m2"
    if r.unit == "mm":
        return f"{r.value / FOOT_MM:.1f} ft ({r.low / FOOT_MM:.1f} to {r.high / FOOT_MM:.1f}); {r.value / 1000:.2f} m"
    return f"{r.value / POUND_KG:.0f} lb ({r.low / POUND_KG:.0f} to {r.high / POUND_KG:.0f}); {r.value:.0f} kg"


def slab_words(made: Estimate) -> str:
    """How many slabs, and how sure."""
    if made.slabs is None:
        return made.slab_trouble
    low, likely, high = (s.slabs for s in made.slabs)
    text = str(likely) if low == high else f"{likely} ({low} to {high})"
    if not made.slabs[1].proven:
        text += f", perhaps {made.slabs[1].least} with a better plan"
    return text


def summary_rows(made: Estimate) -> list[tuple[str, str]]:
    """(what, value with range), for pages and the terminal."""
    rows = [("area", range_words(made.area)), ("finished edge", range_words(made.finished_edge))]
    if made.splash.value > 0:
        rows.append(("splash", range_words(made.splash)))
    cuts = ", ".join(f"{count} {kind}" for kind, count in made.cutouts) or "none"
    rows += [("cut-outs", cuts), ("seams", str(made.seams)), ("slabs", slab_words(made)), ("weight", range_words(made.weight))]
    return rows


def quote_rows(made: Estimate) -> list[tuple[object, ...]]:
    """Rows under :data:`CSV_COLUMNS`; the last says what the file is."""
    rows: list[tuple[object, ...]] = []
    for r in (made.area, made.finished_edge, made.splash, made.weight):
        scale, unit = {"mm2": (FOOT2_MM2, "ft2"), "mm": (FOOT_MM, "ft"), "kg": (1.0, "kg")}[r.unit]
        low, likely, high = (f"{v / scale:.2f}" for v in (r.low, r.value, r.high))
        rows.append((r.name, likely, "", low, likely, high, unit))
    if made.slabs is not None:
        rows.append(("slabs", made.slabs[1].slabs, "", *(s.slabs for s in made.slabs), ""))
    if made.price is not None:
        p = made.price
        rows += [
            (x.what, x.quantity, each_words(x, ".2f"), f"{x.low:.2f}", f"{x.likely:.2f}", f"{x.high:.2f}", p.currency)
            for x in p.lines
        ]
        rows.append(("total with tax", "", "", f"{p.low:.2f}", f"{p.likely:.2f}", f"{p.high:.2f}", p.currency))
    if made.caution:
        rows.append(("note", made.caution, "", "", "", "", ""))
    rows.append(("note", NOT_A_TEMPLATE, "", "", "", "", ""))
    return rows


def estimate_drawing(made: Estimate) -> Drawing:
    """The outline with the statement across it."""
    base = outline_drawing(made.outline, f"{made.job}: estimate", band_scale=0.0, points=False)
    x0, _, x1, y1 = base.bounds()
    h = max((x1 - x0) / 60.0, 20.0)
    words: list[Item] = [
        Text("ESTIMATE-ONLY", (x0, y1 + 3.0 * h * (k + 1)), line, 1.2 * h)
        for k, line in enumerate(reversed(textwrap.wrap(NOT_A_TEMPLATE, 60)))
    ]
    return Drawing(base.title, (*base.items, *words), (NOT_A_TEMPLATE, *base.notes), base.chord_tolerance_mm)


def write_estimate(made: Estimate, folder: Path, unit: Unit = "in", paper: str = "Letter") -> dict[str, Path]:
    """Write quote (PDF, CSV) and DXF into a folder. Raises ``OutputError``; earlier files stay."""
    folder.mkdir(parents=True, exist_ok=True)
    return {
        "quote": _write_pdf(made, folder / "quote.pdf", paper),
        "csv": write_rows_csv(folder / "quote.csv", CSV_COLUMNS, quote_rows(made)),
        "dxf": write_dxf(estimate_drawing(made), folder / "estimate-not-a-template.dxf", unit=unit, warnings=[NOT_A_TEMPLATE]),
    }


def _write_pdf(made: Estimate, path: Path, paper: str) -> Path:
    width, height = paper_size(paper)
    stream = io.BytesIO()
    canvas = new_canvas(stream, f"{made.job}: estimate")
    canvas.setPageSize((width * PT_PER_MM, height * PT_PER_MM))
    left, y = 18.0, height - 22.0

    def line(text: str, size: float = 9.5, font: str = "Helvetica", step: float = 5.0, indent: float = 0.0) -> None:
        nonlocal y
        room = int((width - 2 * left - indent) / (size * 0.176))
        for part in textwrap.wrap(text, room) or [""]:
            text_at(canvas, left + indent, y, part, size, font)
            y -= step

    line(f"{made.job}: estimate", 16, BOLD, 8)
    line(f"{date.today().isoformat()}. Every range holds the true value in about 95 of 100 cases (k = 2).", 8.5)
    canvas.setFillColorRGB(0.75, 0, 0)
    line(NOT_A_TEMPLATE, 9.5, BOLD)
    canvas.setFillColorRGB(0, 0, 0)
    y -= 3
    for what, value in summary_rows(made):
        text_at(canvas, left, y, what, 9.5, BOLD)
        line(value, indent=38.0)
    if made.price is not None:
        y -= 4
        p = made.price
        line(f"Price, {p.currency}", 12, BOLD, 7)
        columns = (left, left + 46, left + 118, left + 140, left + 160, left + 180)
        for x, head in zip(columns, ("", "quantity", "each", "low", "likely", "high"), strict=True):
            text_at(canvas, x, y, head, 8.5, BOLD, "left" if x < left + 100 else "right")
        y -= 5
        for item in p.lines:
            amounts = (f"{v:,.0f}" for v in (item.low, item.likely, item.high))
            cells = (item.what, item.quantity, each_words(item, ",.2f"), *amounts)
            for k, (x, cell) in enumerate(zip(columns, cells, strict=True)):
                text_at(canvas, x, y, cell, 8.5, align="left" if k < 2 else "right")
            y -= 4.8
        total = ("total with tax" + (" (minimum)" if p.minimum_applies else ""), "", "",
                 *(f"{v:,.0f}" for v in (p.low, p.likely, p.high)))  # fmt: skip
        for k, (x, cell) in enumerate(zip(columns, total, strict=True)):
            text_at(canvas, x, y - 1, cell, 9.5, BOLD, "left" if k < 2 else "right")
        y -= 9
        if p.drivers:
            line(drivers_words(p), 8.5)
    if made.caution:
        line(made.caution, 9, BOLD)
    if made.ask is not None:
        y -= 3
        line("To narrow the range", 11, BOLD, 6)
        line(made.ask.sentence, 9)
        line(ask_effect(made), 9)
    y -= 3
    _fit(canvas, outline_drawing(made.outline, "", band_scale=0.0, points=False, edge_table=False,
                                 text_height_mm=45.0), left, 22.0, width - 2 * left, max(y - 26.0, 40.0))  # fmt: skip
    text_at(canvas, left, 12, "Local codes and makers' sheets prevail. " + CAUTIONS[1], 7)
    canvas.showPage()
    if made.slabs is not None:
        canvas.setPageSize((width * PT_PER_MM, height * PT_PER_MM))
        text_at(canvas, left, height - 20, f"{made.job}: where the pieces could come from", 13, BOLD)
        text_at(canvas, left, height - 26, NOT_A_TEMPLATE, 8.5)
        _fit(canvas, packing_drawing(made.slabs[1], ""), left, 18.0, width - 2 * left, height - 52.0)
        canvas.showPage()
    canvas.save()
    write_bytes_atomic(path, stream.getvalue())
    return path


def ask_effect(made: Estimate) -> str:
    """What the asked length would do, in words."""
    ask = made.ask
    assert ask is not None
    before, after = ask.area_U_before / FOOT2_MM2, ask.area_U_after / FOOT2_MM2
    text = f"That would narrow the area from ±{before:.2f} to ±{after:.2f} ft2"
    if made.price is not None:
        text += f" and the price from ±{ask.spread_before:,.0f} to ±{ask.spread_after:,.0f} {made.price.currency}"
    return text + "."


def each_words(line: PriceLine, form: str) -> str:
    """Unit price, empty for a share of other lines."""
    return "" if line.unit_price is None else format(line.unit_price, form)


def drivers_words(price: Price) -> str:
    """What the spread of a price comes from, the largest three."""
    most = ", ".join(f"{what} (±{half:,.0f})" for what, half in price.drivers[:3])
    return f"The range comes from: {most}."


def _fit(canvas: object, drawing: Drawing, x: float, y: float, width: float, height: float) -> None:
    """Draw into a box of the page, as large as it fits, at its upper left."""
    x0, y0, x1, y1 = drawing.bounds()
    scale = max((x1 - x0) / width, (y1 - y0) / height, 1e-9)
    draw_items(canvas, drawing.items, PaperMapping((x0, y0), (x, y + height - (y1 - y0) / scale), scale))


def price_words(made: Estimate) -> str:
    """Total in one line, empty without a price list."""
    if made.price is None:
        return ""
    p = made.price
    text = f"{p.currency} {p.likely:,.0f}, between {p.low:,.0f} and {p.high:,.0f}"
    return text + (" (the minimum charge)" if p.minimum_applies else "")


