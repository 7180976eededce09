"""Price, stone and weight of a job from what is known so far, each as a range that comes from the covariance.

Areas and lengths are those of the finished pieces (``template.build_template``), with their gradients over the outline's
state; so their joint covariance is exact to first order and the price, which is linear in them, follows. Slabs are whole: they
are packed for the likely sizes and for all pieces smaller and larger by U.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from phototemplate.errors import InputError, MeasureError
from phototemplate.model import Array, HeightPoint, Outline, OutlineLoop
from phototemplate.numerics.information import gains, with_observations
from phototemplate.studies.constants import ALONG_EDGE, CUSTOMER_TAPE_U_MM, LEAST_ASKED_MM, LEAST_PRICE_SPREAD
from phototemplate.studies.corner_words import tape_words
from phototemplate.studies.packing import Packing, SlabSpec, pack
from phototemplate.studies.price_list import PriceList
from phototemplate.template.drawing import flatten_polyline
from phototemplate.template.piece_types import Piece, Template
from phototemplate.template.pieces import build_template
from phototemplate.template.quantities import State
from phototemplate.template.rules import density_kg_m3
from phototemplate.template.spec import MaterialSpec, PieceSpec, TemplateSpec
from phototemplate.units import INCH_MM

NOT_A_TEMPLATE = "This is an estimate from photos, to price by. It is not a template: nothing may be cut from it."


@dataclass(frozen=True)
class Range:
    """A value with its range at k = 2 (about 95 %)."""

    name: str
    value: float
    u: float
    unit: str
    gradient: Array
    """(S,) over the state"""

    @property
    def low(self) -> float:
        return max(self.value - 2.0 * self.u, 0.0)

    @property
    def high(self) -> float:
        return self.value + 2.0 * self.u


@dataclass(frozen=True)
class PriceLine:
    """One line of the quote."""

    what: str
    quantity: str
    unit_price: float
    low: float
    likely: float
    high: float
    gradient: Array
    """(S,) of the likely amount; zeros where it does not depend on sizes"""


@dataclass(frozen=True)
class Price:
    """What the price list makes of it; totals after minimum and tax."""

    currency: str
    lines: tuple[PriceLine, ...]
    low: float
    likely: float
    high: float
    drivers: tuple[tuple[str, float], ...]
    """(what the spread comes from, half spread in currency alone), largest first"""
    minimum_applies: bool


@dataclass(frozen=True)
class Ask:
    """What to ask the customer for next."""

    sentence: str
    area_U_before: float
    area_U_after: float
    """mm2"""
    spread_before: float
    spread_after: float
    """Half spread of the price, currency; nan without price list"""


@dataclass(frozen=True)
class Estimate:
    """Everything a quote says."""

    job: str
    outline: Outline
    template: Template
    area: Range
    finished_edge: Range
    splash: Range
    weight: Range
    cutouts: tuple[tuple[str, int], ...]
    seams: int
    slabs: tuple[Packing, Packing, Packing] | None
    """For all pieces smaller by U, likely, larger by U"""
    slab_trouble: str
    price: Price | None
    ask: Ask | None


def estimate(
    outline: Outline,
    spec: TemplateSpec,
    *,
    job: str = "",
    heights: Sequence[HeightPoint] = (),
    prices: PriceList | None = None,
    slab: SlabSpec | None = None,
    edge_finish: str = "",
    landmarks: Mapping[tuple[str, str], str] | None = None,
) -> Estimate:
    """Estimate a job. A job without pieces gets one per closed loop. ``landmarks`` says of the corner where two edges meet what
    a customer would find it by: the photo, an appliance.

    Raises ``MeasureError`` where no scale is known or nothing is closed, ``InputError`` for prices that are missing and wishes
    that do not fit.
    """
    if outline.unscaled:
        raise MeasureError(
            "Nothing fixes the scale, so there is no area and no price; ask for one tape length along the longest run, or a "
            "photo with a sheet or a payment card lying on the cabinets."
        )
    closed = [loop.loop_id for loop in outline.loops if loop.closed]
    if not closed:
        raise MeasureError("No run of cabinets is closed, so there is no area; give the edges that are missing.")
    if not spec.pieces:
        spec = spec.model_copy(update={"pieces": [PieceSpec(id=name, loop=name) for name in closed]})
    template = build_template(outline, spec, heights).whole()
    state = State(outline)
    material = spec.shop.material
    area = _total(state, "area", "mm2", [(_gross(p), p.area.gradient) for p in template.pieces])
    finished = [e.length for p in template.pieces for e in p.edges if e.finish == "finished"]
    finished_edge = _total(state, "finished edge", "mm", [(q.value, q.gradient) for q in finished])
    splash = _total(state, "splash", "mm", [(s.length.value, s.length.gradient) for s in template.splashes])
    kg = material.thickness * density_kg_m3(material) * 1e-9
    upright = sum(s.weight_kg for s in template.splashes)
    net = _total(state, "net", "mm2", [(p.area.value, p.area.gradient) for p in template.pieces])
    weight = Range("weight", kg * net.value + upright, kg * net.u, "kg", kg * net.gradient)
    cutouts: dict[str, int] = {}
    for piece in template.pieces:
        for cut in piece.cutouts:
            cutouts[cut.kind] = cutouts.get(cut.kind, 0) + 1
    slab_spec = slab or _slab_of(material)
    slabs, trouble = _slabs(template, slab_spec)
    made = Estimate(
        job, outline, template, area, finished_edge, splash, weight, tuple(sorted(cutouts.items())), len(template.seams), slabs,
        trouble, None, None,
    )  # fmt: skip
    price = None if prices is None else _price(made, prices, material.kind if not material.name or material.name == "stone"
                                               else material.name, edge_finish, state.cov)  # fmt: skip
    ask = best_question(made, price, state, landmarks or {})
    return Estimate(
        job, outline, template, area, finished_edge, splash, weight, made.cutouts, made.seams, slabs, trouble, price, ask
    )


def _slab_of(material: MaterialSpec) -> SlabSpec:
    return SlabSpec(material.slab_length, material.slab_width, material.slab_trim)


def _gross(piece: Piece) -> float:
    """Area within the outer line, cut-outs not taken off (as stone is charged: common practice)."""
    return float(shapely.Polygon(flatten_polyline(np.asarray(piece.vertices, float), True, 0.05)).area)


def _total(state: State, name: str, unit: str, parts: Sequence[tuple[float, Array]]) -> Range:
    gradient = sum((g for _, g in parts if g.size), np.zeros(state.size))
    u = math.sqrt(max(float(gradient @ state.cov @ gradient), 0.0))
    return Range(name, sum(v for v, _ in parts), u, unit, gradient)


def piece_sizes(template: Template, grow: float = 0.0) -> dict[str, tuple[float, float]]:
    """Enclosing rectangle of every piece and upright, in mm; ``grow`` -1 or +1 for sizes smaller or larger by U.

    A top lies with its longer side along the slab, an upright along its length.
    """
    out = {}
    for p in template.pieces:
        outline = shapely.Polygon(flatten_polyline(np.asarray(p.vertices, float), True, 0.5))
        x0, y0, x1, y1 = outline.bounds
        length, width = max(x1 - x0, y1 - y0), min(x1 - x0, y1 - y0)
        big = {s.name: s.quantity.U for s in p.sizes if s.group == "overall"}
        change = grow * max(big.values(), default=0.0)
        out[p.piece_id] = (length + change, width + change * width / max(length, 1.0))
    for s in template.splashes:
        if s.piece_id not in out:
            out[s.piece_id] = (s.length.value + grow * s.length.U, s.height_mm)
    return out


def _slabs(template: Template, spec: SlabSpec) -> tuple[tuple[Packing, Packing, Packing] | None, str]:
    try:
        low, likely, high = (pack(piece_sizes(template, g), spec) for g in (-1.0, 0.0, 1.0))
    except InputError as exc:
        return None, str(exc)
    return (low, likely, high), ""


def _price(made: Estimate, prices: PriceList, material: str, finish: str, cov: Array) -> Price:
    lines: list[PriceLine] = []
    none = np.zeros(made.area.gradient.size)

    def ranged(what: str, r: Range, each: float, per: float, unit: str) -> None:
        amount = each * per
        quantity = f"{r.value * per:.1f} {unit} ({r.low * per:.1f} to {r.high * per:.1f})"
        lines.append(PriceLine(what, quantity, each, amount * r.low, amount * r.value, amount * r.high, amount * r.gradient))

    if prices.slab and not prices.area:
        if made.slabs is None:
            raise InputError(f"Slabs are charged whole, but they cannot be counted: {made.slab_trouble}")
        each = prices.price("slab", material)
        low, likely, high = (each * s.slabs for s in made.slabs)
        counts = "/".join(dict.fromkeys(str(s.slabs) for s in made.slabs))
        lines.append(PriceLine(f"slabs of {material}", counts, each, low, likely, high, none))
    else:
        ranged(f"top, {material}", made.area, prices.price("area", material), prices.per_mm2, prices.area_unit)
    if made.finished_edge.value > 0:
        name = finish or next(iter(prices.edge), "eased")
        ranged(f"edge, {name}", made.finished_edge, prices.price("edge", name), prices.per_mm, prices.length_unit)
    if made.splash.value > 0:
        ranged("splash", made.splash, prices.price("splash", "each"), prices.per_mm, prices.length_unit)
    for kind, count in made.cutouts:
        each = prices.price("cutout", kind)
        lines.append(_flat(f"cut-out, {kind}", count, each, none))
    if made.seams:
        each = prices.price("seam", "each")
        lines.append(_flat("seam", made.seams, each, none))
    lines += [_flat(name, 1, amount, none) for name, amount in prices.fixed.items()]
    return _totals(prices, lines, cov)


def _flat(what: str, count: int, each: float, none: Array) -> PriceLine:
    amount = count * each
    return PriceLine(what, str(count), each, amount, amount, amount, none)


def _totals(prices: PriceList, lines: list[PriceLine], cov: Array) -> Price:
    """Sums with the correlation between lines; whole slabs come as they are."""
    gradient = sum((line.gradient for line in lines), np.zeros(cov.shape[0]))
    half = 2.0 * math.sqrt(max(float(gradient @ cov @ gradient), 0.0))
    likely = sum(line.likely for line in lines)
    stepped = [line for line in lines if not np.any(line.gradient)]
    low = likely - half - sum(line.likely - line.low for line in stepped)
    high = likely + half + sum(line.high - line.likely for line in stepped)
    tax = 1.0 + prices.tax_percent / 100.0
    drivers = [(line.what, (line.high - line.low) / 2.0) for line in lines if line.high - line.low > LEAST_PRICE_SPREAD]
    drivers.sort(key=lambda item: -item[1])
    after = [tax * max(v, prices.minimum) for v in (low, likely, high)]
    return Price(prices.currency, tuple(lines), after[0], after[1], after[2], tuple(drivers), likely < prices.minimum)


def best_question(
    made: Estimate, price: Price | None, state: State, landmarks: Mapping[tuple[str, str], str]
) -> Ask | None:
    """The one tape length between two corners that narrows the price (or the area) most."""
    gradient = made.area.gradient
    if price is not None:
        money = sum((line.gradient for line in price.lines), np.zeros(state.size))
        if np.any(money):
            gradient = money
    cov = state.cov
    if float(gradient @ cov @ gradient) <= 0:
        return None
    asked = [length for loop in state.outline.loops if loop.closed for length in _corner_lengths(state, loop)]
    if not asked:
        return None
    # along an edge is easier to tell and to measure than across
    ease = np.array([ALONG_EDGE if x.along_edge else 1.0 for x in asked])
    best = asked[int(np.argmax(ease * gains(cov, gradient, np.array([x.gradient for x in asked]), CUSTOMER_TAPE_U_MM)))]
    words = tape_words(made.outline, best.loop_id, best.first, best.second, landmarks)
    after = with_observations(cov, best.gradient, CUSTOMER_TAPE_U_MM**2)

    def half(g: Array, c: Array) -> float:
        return 2.0 * math.sqrt(max(float(g @ c @ g), 0.0))

    area = half(made.area.gradient, cov), half(made.area.gradient, after)
    before, then = (price.high - price.low) / 2.0 if price else math.nan, math.nan
    if price is not None:
        money = sum((line.gradient for line in price.lines), np.zeros(state.size))
        shrink = half(money, cov) - half(money, after)
        then = max(before - shrink, 0.0)
    sentence = (
        f"{words} (about {best.length_mm / INCH_MM:.0f} in). Read it to the nearest 1/8 in and send the number with a photo of "
        "the tape."
    )
    return Ask(sentence, area[0], area[1], before, then)


@dataclass(frozen=True)
class _CornerLength:
    """A length that a customer could measure."""

    loop_id: str
    first: int
    second: int
    length_mm: float
    gradient: Array
    """(S,) over the state"""
    along_edge: bool


def _corner_lengths(state: State, loop: OutlineLoop) -> Iterator[_CornerLength]:
    corners = state.corners(loop.loop_id)
    n = len(corners)
    for i, j in itertools.combinations(range(n), 2):
        d = (corners[j] - corners[i]).norm()
        if d.value >= LEAST_ASKED_MM:
            yield _CornerLength(loop.loop_id, i, j, d.value, d.gradient(state.size), j - i in (1, n - 1))
