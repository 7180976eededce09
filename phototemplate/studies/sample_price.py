"""What a price list makes of a sample kitchen: a shop sees whether its list says what it means."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from phototemplate.errors import InputError
from phototemplate.studies.constants import FOOT_MM, SAMPLE_DEPTH_MM, SAMPLE_LENGTH_MM
from phototemplate.studies.packing import SlabSpec, pack, slab_from_words
from phototemplate.studies.price_list import PriceList
from phototemplate.studies.pricing import Choice, Price, Quantities, Range, price_of
from phototemplate.template.spec import MaterialSpec


def sample(prices: PriceList, stone: str, finish: str) -> Price:
    """One straight top with a sink, known exactly: front and one end finished, a splash along the wall."""
    size = prices.slab_size.get(stone)
    spec = SlabSpec() if size is None else slab_from_words(size, MaterialSpec(), SlabSpec().kerf_mm, False)
    packed = pack({"top": (SAMPLE_LENGTH_MM, SAMPLE_DEPTH_MM)}, spec)
    made = Quantities(
        _exact("area", SAMPLE_LENGTH_MM * SAMPLE_DEPTH_MM, "mm2"),
        {"front": _exact("front", SAMPLE_LENGTH_MM, "mm"), "end": _exact("end", SAMPLE_DEPTH_MM, "mm")},
        {"splash": _exact("splash", SAMPLE_LENGTH_MM, "mm")} if prices.splash else {},
        (("sink", 1),) if "sink" in prices.cutout else (), 0, (packed, packed, packed), "", np.zeros((1, 1)),
    )  # fmt: skip
    far = prices.delivery.free_distance + 10.0 if prices.delivery is not None else None
    return price_of(made, prices, Choice(stone, finish, {}, prices.removal is not None, far))


def _exact(name: str, value: float, unit: str) -> Range:
    return Range(name, value, 0.0, unit, np.zeros(1))


def sample_lines(prices: PriceList) -> Iterator[str]:
    """Text for ``prices check``: the sample with each stone and the first finish, line by line for the first stone.

    Raises ``InputError`` where the list cannot price even that.
    """
    if not prices.stones:
        raise InputError("The price list names no stone; add one to [area] or [slab].")
    if not prices.edge:
        raise InputError("The price list names no finish of edges; add one to [edge].")
    finish = next(iter(prices.edge))
    feet = SAMPLE_LENGTH_MM / FOOT_MM
    yield f"A straight top of {feet:.0f} ft by {SAMPLE_DEPTH_MM / FOOT_MM * 12:.1f} in with one sink, edges {finish}:"
    for k, stone in enumerate(prices.stones):
        made = sample(prices, stone, finish)
        if k == 0:
            for line in made.lines:
                each = "" if line.unit_price is None else f" at {line.unit_price:,.2f}"
                yield f"  {line.what}: {line.quantity.split(' (')[0]}{each} = {line.likely:,.2f}"
            if made.minimum_applies:
                yield f"  the minimum of {prices.minimum:,.2f} applies"
            if made.tax:
                yield f"  tax, {prices.tax_percent:g} % = {made.tax:,.2f}"
        yield f"{stone}: {prices.currency} {made.likely:,.2f}"
