"""What a price list makes of quantities: lines of a quote, and the total with its range.

The amounts are linear in areas and lengths, whose gradients over the outline's state are known; so the range of the total heeds
that an area and an edge grow together. Whole slabs, cut-outs and flat sums come as they are.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from phototemplate.errors import InputError
from phototemplate.model import Array
from phototemplate.studies.constants import LEAST_PRICE_SPREAD
from phototemplate.studies.packing import Packing
from phototemplate.studies.price_list import PriceList
from phototemplate.wording.phrases import Phrase, called

STONE = ("line-area", "line-area-waste", "line-slab")
"""Keys of the lines that charge the stone"""
FINISHES = ("finish of edges", "finishes of edges")


@dataclass(frozen=True)
class Range:
    """A value with its range at k = 2 (about 95 %)."""

    name: str
    value: float
    u: float
    unit: str
    gradient: Array
    """(S,) over the state, and over the scale where that is not known"""

    @property
    def low(self) -> float:
        """Lower end, not below zero."""
        return max(self.value - 2 * self.u, 0.0)

    @property
    def high(self) -> float:
        """Upper end."""
        return self.value + 2.0 * self.u


@dataclass(frozen=True)
class Choice:
    """What a customer chooses, and what the job is like."""

    stone: str = ""
    """As the price list names it; empty: the job's material, or the only one there is"""
    finish: str = ""
    """Of finished edges, as the price list names it; empty: the only one there is"""
    finishes: Mapping[str, str] = field(default_factory=dict)
    """Edges with another finish, by their names in the job"""
    removal: bool = False
    """An old top is taken away"""
    distance: float | None = None
    """To the site, in the price list's unit"""
    floors: int = 0


@dataclass(frozen=True)
class Quantities:
    """What is charged for."""

    area: Range
    edges: Mapping[str, Range]
    """Finished edges by their names in the job"""
    uprights: Mapping[str, Range]
    """Splashes and the like, by kind"""
    cutouts: tuple[tuple[str, int], ...]
    seams: int
    slabs: tuple[Packing, Packing, Packing] | None
    """For all pieces smaller by U, likely, larger by U"""
    slab_trouble: str
    cov: Array
    """(S, S) of what the ranges' gradients refer to"""

    def together(self, name: str, ranges: Sequence[Range]) -> Range:
        """The sum of ranges, with their correlation."""
        gradient = sum((r.gradient for r in ranges), np.zeros(len(self.cov)))
        u = math.sqrt(max(float(gradient @ self.cov @ gradient), 0.0))
        return Range(name, sum(r.value for r in ranges), u, ranges[0].unit, gradient)


@dataclass(frozen=True)
class PriceLine:
    """One line of the quote."""

    what: str
    """A phrase, or the shop's own name"""
    quantity: str
    unit_price: float | None
    """None for a share of other lines"""
    low: float
    likely: float
    high: float
    gradient: Array
    """(S,) of the likely amount; zeros where it does not depend on sizes"""


@dataclass(frozen=True)
class Price:
    """What the price list makes of it; totals after discount, minimum, tax and rounding."""

    currency: str
    stone: str
    finish: str
    lines: tuple[PriceLine, ...]
    low: float
    likely: float
    high: float
    drivers: tuple[tuple[str, float], ...]
    """(what the spread comes from, half spread in currency alone), largest first"""
    minimum_applies: bool
    tax: float
    """Tax in the likely total"""
    factor: float = 1.0
    """What a change of the lines' sum becomes in the total: discount and tax"""


def price_of(made: Quantities, prices: PriceList, choice: Choice) -> Price:
    """Lines and total. Raises ``InputError`` for what the list does not name, and for what the choice leaves open."""
    stone = choice.stone or prices.only("stone", ("stone", "stones"), "--material")
    edges = _edges(made, prices, choice)
    named = [str(line.what.facts["name"]) for line in edges if isinstance(line.what, Phrase)]
    lines = [
        _stone(made, prices, stone),
        *edges,
        *_uprights(made, prices),
        *(_flat(Phrase("line-cutout", name=called("kind", kind)), count, prices.price("cutout", kind), made)
          for kind, count in made.cutouts),
    ]
    if made.seams:
        lines.append(_flat(Phrase("line-seam"), made.seams, prices.price("seam", "each"), made))
    lines += [*_removal(made, prices, choice), *_delivery(made, prices, choice)]
    lines += [_flat(name, 1, amount, made) for name, amount in prices.fixed.items()]
    return _total(prices, replace(choice, stone=stone, finish=choice.finish or next(iter(named), "")), lines, made.cov)


def _ranged(what: str, r: Range, each: float, per: float, unit: str) -> PriceLine:
    amount = each * per
    quantity = f"{r.value * per:.1f} {unit} ({r.low * per:.1f} to {r.high * per:.1f})"
    return PriceLine(what, quantity, each, amount * r.low, amount * r.value, amount * r.high, amount * r.gradient)


def _flat(what: str, count: int, each: float, made: Quantities) -> PriceLine:
    amount = count * each
    return PriceLine(what, str(count), each, amount, amount, amount, np.zeros(len(made.cov)))


def _stone(made: Quantities, prices: PriceList, stone: str) -> PriceLine:
    if stone not in prices.slab:
        each, waste = prices.price("area", stone), prices.waste_percent.get(stone, 0.0)
        charged = Phrase("line-area-waste", name=stone, percent=waste) if waste else Phrase("line-area", name=stone)
        return _ranged(charged, made.area, each, prices.per_mm2 * (1.0 + waste / 100.0), prices.area_unit)
    if made.slabs is None:
        raise InputError(f"Slabs are charged whole, but they cannot be counted: {made.slab_trouble}")
    each = prices.slab[stone]
    low, likely, high = (each * s.slabs for s in made.slabs)
    counts = "/".join(dict.fromkeys(str(s.slabs) for s in made.slabs))
    return PriceLine(Phrase("line-slab", name=stone), counts, each, low, likely, high, np.zeros(len(made.cov)))


def _edges(made: Quantities, prices: PriceList, choice: Choice) -> list[PriceLine]:
    unknown = [name for name in choice.finishes if name not in made.edges]
    if unknown:
        known = ", ".join(made.edges) or "none"
        raise InputError(f"The job has no finished edge {unknown[0]!r}; its finished edges are {known}.")
    by_finish: dict[str, list[Range]] = {}
    for name, length in made.edges.items():
        finish = choice.finishes.get(name) or choice.finish or prices.only("edge", FINISHES, "--edge")
        by_finish.setdefault(finish, []).append(length)
    each = {finish: prices.price("edge", finish) for finish in by_finish}
    return [
        _ranged(Phrase("line-edge", name=finish), made.together(finish, lengths), each[finish], prices.per_mm,
                prices.length_unit)
        for finish, lengths in by_finish.items()
    ]


def _uprights(made: Quantities, prices: PriceList) -> list[PriceLine]:
    return [
        _ranged(called("kind", kind), r, prices.price("splash", kind if kind in prices.splash else "each"), prices.per_mm,
                prices.length_unit)
        for kind, r in made.uprights.items()
    ]


def _removal(made: Quantities, prices: PriceList, choice: Choice) -> list[PriceLine]:
    if not choice.removal:
        return []
    if prices.removal is None:
        raise InputError("The price list has no [removal], which this job asks for. Add it and run again.")
    lines = [_flat(Phrase("line-removal"), 1, prices.removal.each, made)] if prices.removal.each else []
    if prices.removal.per_area:
        lines.append(_ranged(Phrase("line-removal-area"), made.area, prices.removal.per_area, prices.per_mm2, prices.area_unit))
    return lines


def _delivery(made: Quantities, prices: PriceList, choice: Choice) -> list[PriceLine]:
    d = prices.delivery
    if d is None:
        if choice.distance is not None or choice.floors:
            raise InputError("The price list has no [delivery], which this job asks for. Add it and run again.")
        return []
    if d.per_distance and choice.distance is None:
        raise InputError(f"Delivery is charged by distance: say how far it is in {prices.distance_unit} with --distance.")
    lines = [_flat(Phrase("line-delivery"), 1, d.each, made)] if d.each else []
    far = max((choice.distance or 0.0) - d.free_distance, 0.0)
    if far * d.per_distance:
        amount, none = far * d.per_distance, np.zeros(len(made.cov))
        quantity = f"{far:g} {prices.distance_unit}"
        lines.append(PriceLine(Phrase("line-distance"), quantity, d.per_distance, amount, amount, amount, none))
    if choice.floors and not d.per_floor:
        raise InputError("The price list has no [delivery] per_floor, which this job needs. Add it and run again.")
    return lines + ([_flat(Phrase("line-floors"), choice.floors, d.per_floor, made)] if choice.floors else [])


def _total(prices: PriceList, choice: Choice, lines: Sequence[PriceLine], cov: Array) -> Price:
    """Sums with the correlation between lines; whole slabs come as they are."""
    gradient = sum((line.gradient for line in lines), np.zeros(len(cov)))
    half = 2.0 * math.sqrt(max(float(gradient @ cov @ gradient), 0.0))
    likely = sum(line.likely for line in lines)
    stepped = [line for line in lines if not np.any(line.gradient)]
    low = likely - half - sum(line.likely - line.low for line in stepped)
    high = likely + half + sum(line.high - line.likely for line in stepped)
    drivers = [(line.what, (line.high - line.low) / 2.0) for line in lines if line.high - line.low > LEAST_PRICE_SPREAD]
    drivers.sort(key=lambda item: -item[1])
    kept, taxed = 1.0 - prices.discount_percent / 100.0, 1.0 + prices.tax_percent / 100.0
    if prices.discount_percent:
        off = -prices.discount_percent / 100.0
        share = f"{prices.discount_percent:g} %"
        lines = [*lines, PriceLine(Phrase("line-discount"), share, None, off * low, off * likely, off * high, off * gradient)]
    before_tax = max(kept * likely, prices.minimum)
    ends = [taxed * max(kept * v, prices.minimum) for v in (low, likely, high)]
    if prices.round_to:  # the ends outwards, so that the range holds what it held before
        steps = [v / prices.round_to for v in ends]
        ends = [prices.round_to * v for v in (math.floor(steps[0]), round(steps[1]), math.ceil(steps[2]))]
    return Price(
        prices.currency, choice.stone, choice.finish, tuple(lines), ends[0], ends[1], ends[2], tuple(drivers),
        kept * likely < prices.minimum, (taxed - 1.0) * before_tax, kept * taxed,
    )  # fmt: skip
