"""Pieces on slabs: how many are needed and where each piece could come from.

Pieces enter as their enclosing rectangles. The kerf is added to every piece once and to the slab once, which leaves a kerf
between neighbours and none at the slab's trimmed sides; with grain, no piece is turned. The packing is by rectpack (maximal
rectangles and skyline heuristics, J. Jylänki, A Thousand Ways to Pack the Bin, 2010), the best of several orders; a count
that equals the bound by area is proven to be the least, any other is an upper bound and said to be one.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain, permutations, product
from typing import Any

from phototemplate.errors import InputError
from phototemplate.studies.constants import EVERY_ORDER, MOST_SLABS, NAME_LINES, NAME_WIDTH, SLAB_UNITS
from phototemplate.template.drawing import Drawing, Item, Polyline, Text, table
from phototemplate.template.spec import MaterialSpec
from phototemplate.units import parse_length_mm
from phototemplate.wording.phrases import Phrase


@dataclass(frozen=True)
class SlabSpec:
    """Slabs as bought; lengths in mm."""

    length_mm: float = 3048.0
    width_mm: float = 1778.0
    trim_mm: float = 25.0
    """Lost at every side"""
    kerf_mm: float = 4.0
    grain: bool = True
    """The pattern runs along the slab's length, and pieces keep their direction"""

    @property
    def usable_mm(self) -> tuple[float, float]:
        """Length and width between the trimmed sides."""
        return self.length_mm - 2 * self.trim_mm, self.width_mm - 2 * self.trim_mm


def slab_from_words(text: str | None, material: MaterialSpec, kerf_mm: float, turn: bool) -> SlabSpec:
    """The slab that ``text`` ("120 x 70 in") or else the material names. Raises ``InputError`` for other words."""
    length, width = material.slab_length, material.slab_width
    if text is not None:
        first, cross, second = text.lower().partition("x")
        if not cross:
            raise InputError(f'The slab {text!r} is not a length and a width; write it like "120 x 70 in".')
        unit = second.strip().lstrip("0123456789./ -")
        length, width = (parse_length_mm(p if p.strip()[-1:].isalpha() else f"{p.strip()} {unit}") for p in (first, second))
    return SlabSpec(max(length, width), min(length, width), material.slab_trim, kerf_mm, not turn)


@dataclass(frozen=True)
class Placed:
    """One piece on a slab, lower left corner from that of the slab."""

    name: str
    slab: int
    x_mm: float
    y_mm: float
    length_mm: float
    width_mm: float
    turned: bool


@dataclass(frozen=True)
class Packing:
    """A plan for all pieces."""

    spec: SlabSpec
    placed: tuple[Placed, ...]
    slabs: int
    least: int
    """No plan can do with fewer, by area and by pieces that cannot share a slab"""
    used_share: float
    """Of the slabs' area"""

    @property
    def proven(self) -> bool:
        """Whether fewer slabs are impossible."""
        return self.slabs == self.least


def pack(pieces: Mapping[str, tuple[float, float]], spec: SlabSpec) -> Packing:
    """Fewest slabs found for pieces (length along the grain, width), in mm.

    Raises ``InputError`` for a piece that fits no slab (it names the piece; a seam divides it) and for a slab without room.
    """
    usable = spec.usable_mm
    if min(usable) <= 0:
        raise InputError("Nothing is left of the slab after trimming; check slab size and trim.")
    for name, (length, width) in pieces.items():
        if not _fits(length, width, usable, spec.grain):
            raise InputError(
                f"Piece {name} is {length:.0f} x {width:.0f} mm, larger than the {usable[0]:.0f} x {usable[1]:.0f} mm left of "
                "a slab; divide it by a seam" + (", or let it be turned, against the pattern." if spec.grain else ".")
            )
    if not pieces:
        return Packing(spec, (), 0, 0, 0.0)
    least = _bound(list(pieces.values()), usable, spec)
    best: list[Any] | None = None
    count = least
    while best is None:
        if count > MOST_SLABS:
            raise InputError(f"More than {MOST_SLABS} slabs would be needed; check the sizes of pieces and slabs.")
        best = _try(pieces, spec, count)
        count += best is None
    placed = []
    for slab, x, y, w, _, name in best:
        length, width = pieces[name]
        turned = abs(w - _whole(length + spec.kerf_mm)) > 1 and not spec.grain
        if turned:
            length, width = width, length
        placed.append(Placed(name, slab, spec.trim_mm + x / SLAB_UNITS, spec.trim_mm + y / SLAB_UNITS, length, width, turned))
    slabs = 1 + max(p.slab for p in placed)
    area = sum(a * b for a, b in pieces.values())
    return Packing(spec, tuple(placed), slabs, least, area / (slabs * spec.length_mm * spec.width_mm))


def _fits(length: float, width: float, usable: tuple[float, float], grain: bool) -> bool:
    straight = length <= usable[0] + 1e-9 and width <= usable[1] + 1e-9
    return straight or (not grain and width <= usable[0] + 1e-9 and length <= usable[1] + 1e-9)


def _whole(mm: float) -> int:
    return math.ceil(mm * SLAB_UNITS - 1e-6)


def _bound(sizes: Sequence[tuple[float, float]], usable: tuple[float, float], spec: SlabSpec) -> int:
    """By area with kerfs; and pieces longer and wider than half a slab never share one (with grain)."""
    k = spec.kerf_mm
    by_area = math.ceil(sum((a + k) * (b + k) for a, b in sizes) / ((usable[0] + k) * (usable[1] + k)) - 1e-9)
    alone = 0
    if spec.grain:
        alone = sum(2 * a + k > usable[0] and 2 * b + k > usable[1] for a, b in sizes)
    return max(by_area, alone, 1)


def _try(pieces: Mapping[str, tuple[float, float]], spec: SlabSpec, count: int) -> list[Any] | None:
    import rectpack  # type: ignore[import-untyped]

    usable = spec.usable_mm
    bin_size = (int((usable[0] + spec.kerf_mm) * SLAB_UNITS + 1e-6), int((usable[1] + spec.kerf_mm) * SLAB_UNITS + 1e-6))
    orders = (rectpack.SORT_AREA, rectpack.SORT_LSIDE, rectpack.SORT_SSIDE, rectpack.SORT_PERI, rectpack.SORT_RATIO)
    algorithms = (
        rectpack.MaxRectsBssf, rectpack.MaxRectsBaf, rectpack.MaxRectsBl, rectpack.SkylineBlWm, rectpack.GuillotineBssfSas,
    )  # fmt: skip
    ways: Iterator[tuple[Any, Any, Sequence[str]]] = product(algorithms, orders, [tuple(pieces)])
    if len(pieces) <= EVERY_ORDER:  # few pieces: no order is left out
        ways = chain(ways, product((rectpack.MaxRectsBl, rectpack.MaxRectsBssf), [rectpack.SORT_NONE], permutations(pieces)))
    for algorithm, order, names in ways:
        packer = rectpack.newPacker(
            mode=rectpack.PackingMode.Offline, bin_algo=rectpack.PackingBin.BFF, pack_algo=algorithm, sort_algo=order,
            rotation=not spec.grain,
        )  # fmt: skip
        for name in names:
            length, width = pieces[name]
            packer.add_rect(_whole(length + spec.kerf_mm), _whole(width + spec.kerf_mm), name)
        packer.add_bin(*bin_size, count=count)
        packer.pack()
        found: list[Any] = packer.rect_list()
        if len(found) == len(pieces):
            return found
    return None


def packing_drawing(packing: Packing, title: str, height_mm: float = 60.0) -> Drawing:
    """The slabs below each other with their pieces, in slab mm."""
    spec, h = packing.spec, height_mm
    items: list[Item] = []
    for k in range(packing.slabs):
        base = -k * (spec.width_mm + 4.0 * h)
        items.append(_box("SLAB-PLACES", 0.0, base, spec.length_mm, spec.width_mm, f"slab {k + 1}"))
        words = Phrase("slab-grain" if spec.grain else "slab-size", n=k + 1, length_mm=spec.length_mm, width_mm=spec.width_mm)
        items.append(Text("FOUND-NAMES", (0.0, base + spec.width_mm + 0.8 * h), words, h))
        for p in (p for p in packing.placed if p.slab == k):
            items.append(_box("FOUND-LINE", p.x_mm, base + p.y_mm, p.length_mm, p.width_mm, p.name))
            middle = (p.x_mm + p.length_mm / 2, base + p.y_mm + p.width_mm / 2)
            size = f"{p.name} {p.length_mm:.0f} x {p.width_mm:.0f}"
            small = min(h, p.width_mm / NAME_LINES, p.length_mm / (NAME_WIDTH * len(size)))
            items.append(Text("FOUND-NAMES", middle, size, small, 0.0, "centre", "middle"))
    least = Phrase("no-fewer") if packing.proven else Phrase("better-plan", least=packing.least)
    notes = [(Phrase("slabs"), str(packing.slabs)), ("", least),
             (Phrase("used"), Phrase("percent", percent=100.0 * packing.used_share))]
    low = -(packing.slabs - 1) * (spec.width_mm + 4.0 * h) - 2.0 * h
    items += table(notes, (0.0, low), h, "SHEET-TEXT", None, header=False)
    return Drawing(title, tuple(items))


def _box(layer: str, x: float, y: float, w: float, h: float, name: str) -> Polyline:
    return Polyline(layer, ((x, y, 0.0), (x + w, y, 0.0), (x + w, y + h, 0.0), (x, y + h, 0.0)), True, name)
