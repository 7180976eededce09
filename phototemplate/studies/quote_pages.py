"""A quote as files: HTML and PDF to send, CSV and JSON for other programs, a DXF that says that it is an estimate."""

from __future__ import annotations

import io
import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

from markupsafe import Markup
from reportlab.lib.colors import HexColor
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.platypus import Flowable, PageBreak, Paragraph, SimpleDocTemplate, Spacer, Table

from phototemplate.atomic import write_bytes_atomic, write_text_atomic
from phototemplate.output.csv import write_rows_csv
from phototemplate.output.dxf import Unit, write_dxf
from phototemplate.output.html import page
from phototemplate.output.paper import PaperMapping, draw_items, paper_size
from phototemplate.output.svg import svg_text
from phototemplate.output.text import cp1252
from phototemplate.studies.constants import DRAWING_MM, FRAME_PT, MARGIN_MM, PRICE_COLUMN_MM, TIGHT_PT
from phototemplate.studies.estimate import NOT_A_TEMPLATE
from phototemplate.studies.packing import packing_drawing
from phototemplate.studies.quote import (
    CSV_COLUMNS,
    Quote,
    assumed_rows,
    compared_rows,
    drawing_in,
    estimate_drawing,
    narrowed_words,
    quote_rows,
    sketch,
    summary_rows,
)
from phototemplate.template.drawing import Drawing
from phototemplate.template.rules import CAUTION_CODES
from phototemplate.wording import phrase
from phototemplate.wording.phrases import Phrase, day_words, told


def write_quote(quote: Quote, folder: Path, unit: Unit = "in", paper: str = "Letter") -> dict[str, Path]:
    """Write every file of a quote into a folder. Raises ``OutputError``; earlier files stay."""
    folder.mkdir(parents=True, exist_ok=True)
    html, data = folder / "quote.html", folder / "quote.json"
    write_text_atomic(html, quote_html(quote))
    write_text_atomic(data, json.dumps(quote_data(quote), indent=1, ensure_ascii=False) + "\n")
    return {
        "quote": _write_pdf(quote, folder / "quote.pdf", paper),
        "page": html,
        "data": data,
        "csv": write_rows_csv(folder / "quote.csv", CSV_COLUMNS, quote_rows(quote)),
        "dxf": write_dxf(
            estimate_drawing(quote.first), folder / "estimate-not-a-template.dxf", unit=unit, warnings=[NOT_A_TEMPLATE]
        ),
    }


def quote_data(quote: Quote) -> dict[str, Any]:
    """The quote as plain data: mm, mm2, kg and the currency."""
    made = quote.first
    ranges = (made.area, made.finished_edge, made.splash, made.weight)
    return {
        "number": quote.number, "date": quote.dated.isoformat(), "valid_until": quote.valid_until.isoformat(),
        "shop": quote.shop.name, "customer": quote.file.customer.model_dump(), "job": made.job, "note": quote.file.note,
        "quantities": {r.name: {"low": r.low, "likely": r.value, "high": r.high, "unit": r.unit} for r in ranges},
        "cutouts": dict(made.cutouts), "seams": made.seams,
        "slabs": None if made.slabs is None else [s.slabs for s in made.slabs],
        "options": [
            {
                "title": quote.title(k), "stone": p.stone, "finish": p.finish, "currency": p.currency, "low": p.low,
                "likely": p.likely, "high": p.high, "tax": p.tax, "minimum_applies": p.minimum_applies,
                "lines": [
                    {"what": x.what, "quantity": x.quantity, "each": x.unit_price, "low": x.low, "likely": x.likely,
                     "high": x.high}
                    for x in p.lines
                ],
            }
            for k, (_, option) in enumerate(quote.options) if (p := option.price) is not None
        ],
        "ask": None if made.ask is None else made.ask.sentence, "caution": made.caution, "note_on_use": NOT_A_TEMPLATE,
    }  # fmt: skip


def _context(quote: Quote) -> dict[str, Any]:
    """What both pages show, in the quote's language."""
    made, language = quote.first, quote.language
    priced = [option.price for _, option in quote.options if option.price is not None]
    titles = [quote.title(k) for k in range(len(quote.options))]
    ranges = [narrowed_words(option) for _, option in quote.options if option.price is not None]
    if len(titles) > 1:
        ranges = [Phrase("option", title=t, words=w) for t, w in zip(titles, ranges, strict=True)]

    def tell(part: Any) -> Any:
        """Lists of texts, and lists of them."""
        return told(part, language) if isinstance(part, str) else [tell(one) for one in part]

    return {name: tell(part) for name, part in {
        "shop_name": quote.shop.name or Phrase("Estimate"), "number": Phrase("quote-number", number=quote.number),
        "dated": day_words(quote.dated, language), "valid": Phrase("valid-until", day=quote.valid_until),
        "job": Phrase("countertop", job=made.job), "note": quote.file.note, "titles": titles, "ranges": ranges,
        "rows": compared_rows(quote) if priced else [], "total": Phrase("total"),
        "totals": [Phrase("money", value=p.likely) for p in priced],
        "price": Phrase("price", currency=priced[0].currency) if priced else "",
        "summary": [*summary_rows(made), *assumed_rows(made)], "seen": Phrase("seen-from-above"), "sizes": Phrase("sizes"),
        "ask": "" if made.ask is None else Phrase("to-narrow", ask=made.ask.sentence), "caution": made.caution,
        "cautions": [phrase(code, language=language) for code in CAUTION_CODES],
        "use": NOT_A_TEMPLATE, "slab_page": Phrase("slab-page"),
        "lists": [(Phrase(key), entries) for key, entries in (
            ("included", quote.shop.included), ("not-included", quote.shop.not_included), ("terms", quote.shop.terms)
        ) if entries],
    }.items()}  # fmt: skip


def quote_html(quote: Quote) -> str:
    """One page without scripts or requests."""
    picture = Markup(svg_text(drawing_in(sketch(quote.first), quote.language), unscaled=True, standalone=False))
    return page(
        "quote.html", picture=picture, shop=quote.shop, customer=quote.file.customer, language=quote.language, **_context(quote)
    )


# -------------------------------------------------------------------------------------------------- PDF

def _tight() -> list[tuple[Any, ...]]:
    """Style of tables that stand in the text."""
    everywhere = (0, 0), (-1, -1)
    padding = (("TOP", TIGHT_PT), ("BOTTOM", TIGHT_PT), ("LEFT", 0), ("RIGHT", 0))
    return [*((f"{side}PADDING", *everywhere, room) for side, room in padding), ("VALIGN", *everywhere, "TOP")]


def _write_pdf(quote: Quote, path: Path, paper: str) -> Path:
    stream = io.BytesIO()
    width, height = paper_size(paper)
    title = told(Phrase("quote-number", number=quote.number), quote.language)
    page = SimpleDocTemplate(
        stream, pagesize=(width * mm, height * mm), leftMargin=MARGIN_MM * mm, rightMargin=MARGIN_MM * mm,
        topMargin=MARGIN_MM * mm, bottomMargin=MARGIN_MM * mm, title=cp1252(title), creator="phototemplate",
        invariant=1,
    )  # fmt: skip
    pages = _Pages(quote, width - 2 * MARGIN_MM - 2 * FRAME_PT / mm)
    page.build([*pages.heads(), *pages.sizes(), *pages.prices(), *pages.words(), *pages.slabs()])
    write_bytes_atomic(path, stream.getvalue())
    return path


class _Sketch(Flowable):  # type: ignore[misc]
    """A drawing as large as it fits into a width and a height in mm."""

    def __init__(self, drawing: Drawing, width_mm: float, height_mm: float) -> None:
        super().__init__()
        self.drawing, self.box = drawing, drawing.bounds()
        x0, y0, x1, y1 = self.box
        self.scale = max((x1 - x0) / width_mm, (y1 - y0) / height_mm, 1e-9)

    def wrap(self, *_: float) -> tuple[float, float]:
        """Room it takes, in points."""
        x0, y0, x1, y1 = self.box
        return (x1 - x0) / self.scale * mm, ((y1 - y0) / self.scale + 4.0) * mm

    def draw(self) -> None:
        """Onto the page."""
        draw_items(self.canv, self.drawing.items, PaperMapping(self.box[:2], (0.0, 2.0), self.scale))


class _Pages:
    """The paragraphs, tables and drawings of the PDF."""

    def __init__(self, quote: Quote, width_mm: float) -> None:
        self.quote, self.width_mm, self.said = quote, width_mm, _context(quote)
        self.colour = HexColor(quote.shop.colour)
        plain = ParagraphStyle("plain", fontName="Helvetica", fontSize=9, leading=12)
        bold = ParagraphStyle("bold", parent=plain, fontName="Helvetica-Bold")
        self.styles = {
            "plain": plain, "bold": bold, "small": ParagraphStyle("small", parent=plain, fontSize=7.5, leading=9.5),
            "head": ParagraphStyle("head", parent=bold, fontSize=11, leading=15, textColor=self.colour, spaceBefore=6),
            "name": ParagraphStyle("name", parent=bold, fontSize=16, leading=20, textColor=self.colour),
            "right": ParagraphStyle("right", parent=plain, alignment=2),
            "right bold": ParagraphStyle("right bold", parent=bold, alignment=2),
        }  # fmt: skip

    def text(self, text: str, style: str = "plain") -> Any:
        """A paragraph; line ends stay."""
        return Paragraph(escape(cp1252(text)).replace("\n", "<br/>"), self.styles[style])

    def table(self, cells: list[list[Any]], widths_mm: list[float], style: Sequence[tuple[Any, ...]] = ()) -> Any:
        """A table with columns so wide."""
        return Table(cells, colWidths=[w * mm for w in widths_mm], style=[*_tight(), *style])

    def heads(self) -> list[Any]:
        """Shop, customer, number and dates."""
        c, shop, customer = self.said, self.quote.shop, self.quote.file.customer
        halves = [0.6 * self.width_mm, 0.4 * self.width_mm]
        dates = f"{c['number']}\n{c['dated']}\n{c['valid']}"
        letterhead = [self.text(c["shop_name"], "name"), self.text("\n".join([*shop.address, *shop.contact]), "right")]
        return [
            self.table([letterhead], halves, [("LINEBELOW", (0, 0), (-1, 0), 1.2, self.colour)]), Spacer(1, 6),
            self.table([[self.text("\n".join([customer.name, *customer.address])), self.text(dates, "right")]], halves),
            self.text(c["job"], "head"), *([self.text(c["note"])] if c["note"] else []),
        ]  # fmt: skip

    def sizes(self) -> list[Any]:
        """Drawing and quantities."""
        rows = [[self.text(what, "bold"), self.text(value)] for what, value in self.said["summary"]]
        drawing = _Sketch(drawing_in(sketch(self.quote.first), self.quote.language), self.width_mm, DRAWING_MM)
        note = self.text(self.said["seen"], "small")
        return [drawing, note, self.text(self.said["sizes"], "head"), self.table(rows, [30.0, self.width_mm - 30.0])]

    def prices(self) -> list[Any]:
        """Options side by side, and their ranges in words."""
        c = self.said
        if not c["rows"]:
            return []
        titles = c["titles"]
        each = min(PRICE_COLUMN_MM[1], (self.width_mm - PRICE_COLUMN_MM[0]) / len(titles))
        rows = [["", *(self.text(t, "right bold") for t in titles)]]
        rows += [[self.text(what), *(self.text(v, "right") for v in amounts)] for what, amounts in c["rows"]]
        rows.append([self.text(c["total"], "bold"), *(self.text(t, "right bold") for t in c["totals"])])
        lines = [("LINEABOVE", (0, -1), (-1, -1), 0.8, self.colour), ("LINEBELOW", (0, 0), (-1, 0), 0.4, self.colour)]
        table = self.table(rows, [self.width_mm - each * len(titles), *[each] * len(titles)], lines)
        return [self.text(c["price"], "head"), table, Spacer(1, 4), *(self.text(w) for w in c["ranges"])]

    def words(self) -> list[Any]:
        """What narrows the range, what is included, terms and cautions."""
        c = self.said
        out = [self.text(c["caution"], "bold")] if c["caution"] else []
        out += [self.text(c["ask"])] if c["ask"] else []
        for title, entries in c["lists"]:
            out += [self.text(title, "head"), *(self.text(f"- {entry}") for entry in entries)]
        return [*out, Spacer(1, 6), self.text(c["use"], "bold"), *(self.text(text, "small") for text in c["cautions"])]

    def slabs(self) -> list[Any]:
        """A page with the pieces on slabs."""
        if self.quote.first.slabs is None:
            return []
        packed = drawing_in(packing_drawing(self.quote.first.slabs[1], ""), self.quote.language)
        drawing = _Sketch(packed, self.width_mm, 3 * DRAWING_MM)
        head = self.text(self.said["slab_page"], "head")
        return [PageBreak(), head, self.text(self.said["use"], "small"), drawing]
