"""What a quote says, in words and rows; ``quote_pages`` sets it as HTML and PDF.

One :class:`Quote` holds one estimate for every option; the first also gives the areas, the slabs and the drawing.
"""

from __future__ import annotations

import textwrap
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
import shapely

from phototemplate.studies.constants import (
    FOOT2_MM2,
    FOOT_MM,
    LEAST_SHARE,
    LEAST_TEXT_MM,
    POUND_KG,
    QUOTE_TEXT_OF_HEIGHT,
    QUOTE_TEXT_SHARE,
    SAME_ROOM,
)
from phototemplate.studies.estimate import NOT_A_TEMPLATE, Estimate
from phototemplate.studies.price_list import Shop
from phototemplate.studies.pricing import STONE, Price, PriceLine, Range
from phototemplate.studies.quote_file import QuoteFile
from phototemplate.template.drawing import Circle, Drawing, Item, Line, Polyline, Text, flatten_polyline
from phototemplate.template.outline_drawing import OutlineStyle, outline_drawing
from phototemplate.template.piece_types import Piece
from phototemplate.units import INCH_MM, format_length
from phototemplate.wording.phrases import Phrase, called, told

CSV_COLUMNS = ("option", "what", "quantity", "unit_price", "low", "likely", "high", "unit")


@dataclass(frozen=True)
class Quote:
    """Everything a quote says."""

    shop: Shop
    file: QuoteFile
    options: tuple[tuple[str, Estimate], ...]
    """Title, which may be empty, and estimate of each"""
    today: date

    @property
    def first(self) -> Estimate:
        """The first option's estimate."""
        return self.options[0][1]

    @property
    def dated(self) -> date:
        """Date of the quote."""
        return self.file.date or self.today

    @property
    def number(self) -> str:
        """As the file gives it, else date and job."""
        return self.file.number or f"{self.dated:%Y%m%d} {self.first.job}".strip()

    @property
    def valid_until(self) -> date:
        """Last day."""
        return self.dated + timedelta(days=self.shop.valid_days)

    @property
    def language(self) -> str:
        """As the file says, else as the shop writes."""
        return self.file.language or self.shop.language

    def title(self, k: int) -> str:
        """What option ``k`` is called."""
        title, made = self.options[k]
        if title or made.price is None:
            return title or Phrase("estimate")
        return ", ".join(filter(None, (made.price.stone, made.price.finish)))


# ------------------------------------------------------------------------------------------------ words


def range_words(r: Range) -> str:
    """Value with its range, in the units of the trade."""
    kind, units = {
        "mm2": ("area", {"ft2": FOOT2_MM2, "m2": 1e6}), "mm": ("length", {"ft": FOOT_MM, "m": 1000.0}),
        "kg": ("weight", {"lb": POUND_KG, "kg": 1.0}),
    }[r.unit]  # fmt: skip
    facts = {f"{unit}{end}": v / scale for unit, scale in units.items()
             for end, v in (("", r.value), ("_low", r.low), ("_high", r.high))}
    return Phrase(f"range-{kind}", **facts)


def slab_words(made: Estimate) -> str:
    """How many slabs, and how sure."""
    if made.slabs is None:
        return made.slab_trouble
    low, likely, high = (s.slabs for s in made.slabs)
    text = Phrase("slabs-likely" if low == high else "slabs-range", low=low, likely=likely, high=high)
    return text if made.slabs[1].proven else Phrase("slabs-perhaps", slabs=text, least=made.slabs[1].least)


def summary_rows(made: Estimate) -> list[tuple[str, str]]:
    """(what, value with range), for pages and the terminal."""
    rows = [("area", range_words(made.area)), ("finished-edge", range_words(made.finished_edge))]
    if made.splash.value > 0:
        rows.append(("splash", range_words(made.splash)))
    cuts = [Phrase("count", n=count, what=called("kind", kind)) for kind, count in made.cutouts]
    rows += [("cutouts", Phrase("listed", words=cuts) if cuts else Phrase("none")), ("seams", str(made.seams)),
             ("slabs", slab_words(made)), ("weight", range_words(made.weight))]
    return [(Phrase(key), words) for key, words in rows]


def assumed_rows(made: Estimate) -> list[tuple[str, str]]:
    """(what, value) of what nobody measured."""
    shop = made.template.spec.shop
    inches = {name: format_length(value, "fraction") for name, value in (("front", shop.overhang), ("end", shop.end_overhang))}
    usual = Phrase("overhang-usual", **inches, front_mm=shop.overhang, end_mm=shop.end_overhang)
    return [
        (Phrase("thickness"), Phrase("thickness-cm", cm=shop.material.thickness / 10.0)),
        *([] if "old top" in dict(made.assumed) else [(Phrase("overhang"), usual)]), *made.assumed,
    ]  # fmt: skip


def cause_shares(made: Estimate) -> list[tuple[str, float]]:
    """What the area's range comes from: (cause, share of the variance), the largest first."""
    gradient = made.area.gradient[: made.outline.shared_jac.shape[0]] @ made.outline.shared_jac
    parts = {cause: float(gradient @ part @ gradient) for cause, part in made.outline.influences.parts.items()}
    total = sum(parts.values())
    shares = sorted(((cause, v / total) for cause, v in parts.items()), key=lambda item: -item[1]) if total > 0 else []
    return [(cause, share) for cause, share in shares if share >= LEAST_SHARE]


def price_words(made: Estimate) -> str:
    """Total in one line, empty without a price list."""
    if made.price is None:
        return ""
    p = made.price
    text = f"{p.currency} {p.likely:,.0f}, between {p.low:,.0f} and {p.high:,.0f}"
    return text + (" (the minimum charge)" if p.minimum_applies else "")


def narrowed_words(made: Estimate) -> str:
    """The range of a price in a sentence, and what one tape length would make of it."""
    p, ask = made.price, made.ask
    if p is None:
        return ""
    if p.minimum_applies and p.low == p.high:
        return Phrase("minimum-words", currency=p.currency, likely=p.likely)
    if ask is None:
        return Phrase("price-between", low=p.low, high=p.high)
    then = {"then_low": p.likely - ask.spread_after, "then_high": p.likely + ask.spread_after}
    return Phrase("price-narrowed", low=p.low, high=p.high, **then)


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


# ------------------------------------------------------------------------------------------------- rows


def quote_rows(quote: Quote) -> list[tuple[object, ...]]:
    """Rows under :data:`CSV_COLUMNS`; the last says what the file is."""
    made = quote.first
    rows: list[tuple[object, ...]] = []
    for r in (made.area, made.finished_edge, made.splash, made.weight):
        scale, unit = {"mm2": (FOOT2_MM2, "ft2"), "mm": (FOOT_MM, "ft"), "kg": (1.0, "kg")}[r.unit]
        low, likely, high = (f"{v / scale:.2f}" for v in (r.low, r.value, r.high))
        rows.append(("", r.name, likely, "", low, likely, high, unit))
    if made.slabs is not None:
        rows.append(("", "slabs", made.slabs[1].slabs, "", *(s.slabs for s in made.slabs), ""))
    for k, (_, option) in enumerate(quote.options):
        if option.price is None:
            continue
        p, name = option.price, quote.title(k)
        rows += [
            (name, x.what, x.quantity, each_words(x, ".2f"), f"{x.low:.2f}", f"{x.likely:.2f}", f"{x.high:.2f}", p.currency)
            for x in p.lines
        ]
        rows.append((name, "total with tax", "", "", f"{p.low:.2f}", f"{p.likely:.2f}", f"{p.high:.2f}", p.currency))
    if made.caution:
        rows.append(("", "note", made.caution, "", "", "", "", ""))
    rows.append(("", "note", NOT_A_TEMPLATE, "", "", "", "", ""))
    return rows


def compared_rows(quote: Quote) -> list[tuple[str, list[str]]]:
    """Lines of all options side by side: what, and the likely amount in each, empty where it has none."""
    priced = [made.price for _, made in quote.options if made.price is not None]
    names = sorted(dict.fromkeys(line.what for p in priced for line in p.lines),
                   key=lambda what: not (isinstance(what, Phrase) and what.key in STONE))
    amounts = [{line.what: Phrase("money", value=line.likely) for line in p.lines} for p in priced]
    rows = [(name, [a.get(name, "") for a in amounts]) for name in names]
    if any(p.tax for p in priced):
        rows.append((Phrase("tax"), [Phrase("money", value=p.tax) for p in priced]))
    return rows


# ---------------------------------------------------------------------------------------------- drawing


def estimate_drawing(made: Estimate) -> Drawing:
    """The outline with the statement across it."""
    base = outline_drawing(made.outline, f"{made.job}: estimate", OutlineStyle(band_scale=0.0, points=False))
    x0, _, x1, y1 = base.bounds()
    h = max((x1 - x0) * QUOTE_TEXT_SHARE, LEAST_TEXT_MM)
    words: list[Item] = [
        Text("ESTIMATE-ONLY", (x0, y1 + 3.0 * h * (k + 1)), line, 1.2 * h)
        for k, line in enumerate(reversed(textwrap.wrap(NOT_A_TEMPLATE, 60)))
    ]
    return Drawing(base.title, (*base.items, *words), (NOT_A_TEMPLATE, *base.notes), base.chord_tolerance_mm)


def sketch(made: Estimate) -> Drawing:
    """Pieces with cut-outs, seams and splashes as a customer sees them: sizes to the nearest inch, no tolerances."""
    template = made.template
    x0, x1 = min(v[0] for p in template.pieces for v in p.vertices), max(v[0] for p in template.pieces for v in p.vertices)
    y0, y1 = min(v[1] for p in template.pieces for v in p.vertices), max(v[1] for p in template.pieces for v in p.vertices)
    height = max((x1 - x0) * QUOTE_TEXT_SHARE, (y1 - y0) * QUOTE_TEXT_OF_HEIGHT)
    items: list[Item] = []
    for piece in template.pieces:
        items.append(Polyline("STONE-SHAPE", piece.vertices, True, piece.piece_id))
        for cut in piece.cutouts:
            if not cut.across_seam:
                items.append(Polyline("STONE-CUTOUT", cut.vertices, True, cut.cutout_id))
            items.append(Text("STONE-CUTOUT", cut.centre, called("kind", cut.kind), height, align="centre", valign="middle"))
        items += [Circle("STONE-HOLE", hole.centre, hole.diameter_mm / 2.0) for hole in piece.holes]
        at, size = _label_place(piece)
        items += [
            Text("STONE-NAMES", (at[0], at[1] + 0.9 * height), piece.piece_id, height, align="centre", valign="middle"),
            Text("STONE-NAMES", (at[0], at[1] - 0.9 * height), size, height, align="centre", valign="middle"),
        ]
    items += [Line("STONE-SEAM", seam.start, seam.end) for seam in template.seams]
    items += [Polyline("SPLASH-FOOT", s.foot, True, s.piece_id) for s in template.splashes if len(s.foot)]
    return Drawing(f"{made.job}: estimate", tuple(items), (NOT_A_TEMPLATE,))


def _label_place(piece: Piece) -> tuple[tuple[float, float], str]:
    """Where a piece has most room for its name, and its length and width in words."""
    shape = shapely.Polygon(flatten_polyline(np.asarray(piece.vertices, float), True, 1.0))
    holes = [shapely.Polygon(flatten_polyline(np.asarray(c.vertices, float), True, 1.0)) for c in piece.cutouts]
    room = shapely.MultiPolygon([shape]) if not holes else shape.difference(shapely.union_all(holes))
    widest = shapely.maximum_inscribed_circle(room)  # type: ignore[call-overload]
    middle = room.contains(shape.centroid.buffer(SAME_ROOM * widest.length))
    at = shape.centroid.coords[0] if middle else widest.coords[0]
    x0, y0, x1, y1 = shape.bounds
    sides = {"length": x1 - x0, "width": y1 - y0}
    facts = {f"{side}_{unit}": v / per for side, v in sides.items() for unit, per in (("in", INCH_MM), ("cm", 10.0))}
    return (float(at[0]), float(at[1])), Phrase("piece-size", **facts)


def drawing_in(drawing: Drawing, language: str) -> Drawing:
    """A drawing with its phrases told in a language."""
    items = (replace(i, text=told(i.text, language)) if isinstance(i, Text) else i for i in drawing.items)
    return replace(drawing, items=tuple(items))
