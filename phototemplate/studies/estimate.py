"""Price, stone and weight of a job from what is known so far, each as a range that comes from the covariance.

Areas and lengths are those of the finished pieces (``template.build_template``), with their gradients over the outline's
state; so their joint covariance is exact to first order and the price, which is linear in them, follows. Slabs are whole: they
are packed for the likely sizes and for all pieces smaller and larger by U.
"""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import shapely
from scipy import linalg

from phototemplate.errors import InputError, MeasureError
from phototemplate.model import Array, HeightPoint, Outline, OutlineLoop
from phototemplate.numerics.information import gains, with_observations
from phototemplate.studies.constants import ALONG_EDGE, CUSTOMER_TAPE_U_MM, LEAST_ASKED_MM, PRINT_SCALE_U, WORTH_ASKING
from phototemplate.studies.corner_words import tape_words
from phototemplate.studies.packing import Packing, SlabSpec, pack, slab_from_words
from phototemplate.studies.price_list import PriceList
from phototemplate.studies.pricing import Choice, Price, Quantities, Range, price_of
from phototemplate.template.drawing import flatten_polyline
from phototemplate.template.piece_types import Piece, Template
from phototemplate.template.pieces import build_template
from phototemplate.template.quantities import State
from phototemplate.template.rules import density_kg_m3
from phototemplate.template.spec import MaterialSpec, PieceSpec, TemplateSpec
from phototemplate.units import INCH_MM
from phototemplate.wording.phrases import Phrase

PRINT_ONLY = Phrase("print-only")
NOT_A_TEMPLATE = Phrase("not-a-template")


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
    caution: str = ""
    """What the ranges do not cover, where something is assumed"""
    assumed: tuple[tuple[str, str], ...] = ()
    """(what, value) of what nobody measured, beside the usual values of the shop"""


def estimate(
    outline: Outline,
    spec: TemplateSpec,
    *,
    job: str = "",
    heights: Sequence[HeightPoint] = (),
    prices: PriceList | None = None,
    slab: SlabSpec | None = None,
    choice: Choice | None = None,
    landmarks: Mapping[tuple[str, str], Sequence[str]] | None = None,
    printed: bool = False,
    caution: str = "",
    assumed: tuple[tuple[str, str], ...] = (),
) -> Estimate:
    """Estimate a job. A job without pieces gets one per closed loop. ``landmarks`` says of the corner where two edges meet what
    a customer would find it by: the photo, an appliance. ``printed``: printed sheets lie in the photos, so that without any
    known length their print gives the scale, to about 2 %. ``caution`` is said beside the result.

    Raises ``MeasureError`` where no scale is known or nothing is closed, ``InputError`` for prices that are missing or
    ambiguous and wishes that do not fit.
    """
    if outline.unscaled and not printed:
        raise MeasureError(
            "Nothing fixes the scale, so there is no area and no price; ask for one tape length along the longest run, or a "
            "photo with a sheet or a payment card lying on the cabinets."
        )
    closed = [loop.loop_id for loop in outline.loops if loop.closed]
    if not closed:
        raise MeasureError("No run of cabinets is closed, so there is no area; give the edges that are missing.")
    if not spec.pieces:
        spec = spec.model_copy(update={"pieces": [PieceSpec(id=name, loop=name) for name in closed]})
    gaping = [p.loop for p in spec.pieces if p.loop not in closed]
    if gaping:
        raise MeasureError(
            f"The run {gaping[0]} does not close, so it has no area; give the edges that are missing, or leave its piece out."
        )
    template = build_template(outline, spec, heights).whole()
    state = _Known(outline)
    material = spec.shop.material
    area = state.total("area", [(_gross(p), p.area.gradient) for p in template.pieces], 2)
    edges: dict[str, list[tuple[float, Array]]] = {}
    uprights: dict[str, list[tuple[float, Array]]] = {}
    for edge in (e for p in template.pieces for e in p.edges if e.finish == "finished"):
        edges.setdefault(edge.edge_id, []).append((edge.length.value, edge.length.gradient))
    for upright in template.splashes:
        uprights.setdefault(upright.kind, []).append((upright.length.value, upright.length.gradient))
    net = state.total("net", [(p.area.value, p.area.gradient) for p in template.pieces], 2)
    kg = material.thickness * density_kg_m3(material) * 1e-9
    weight = Range("weight", kg * net.value + sum(s.weight_kg for s in template.splashes), kg * net.u, "kg", kg * net.gradient)
    cutouts = Counter(cut.kind for piece in template.pieces for cut in piece.cutouts)
    choice = choice or Choice()
    stone = choice.stone or _stone_of(material, prices)
    slabs, trouble = _slabs(template, slab or _slab_of(material, prices, stone))
    quantities = Quantities(
        area, {name: state.total(name, parts, 1) for name, parts in edges.items()},
        {kind: state.total(kind, parts, 1) for kind, parts in uprights.items()}, tuple(sorted(cutouts.items())),
        len(template.seams), slabs, trouble, state.cov,
    )  # fmt: skip
    price = None if prices is None else price_of(quantities, prices, replace(choice, stone=stone))
    return Estimate(
        job, outline, template, area, state.total("finished edge", [x for parts in edges.values() for x in parts], 1),
        state.total("splash", [x for parts in uprights.values() for x in parts], 1), weight, quantities.cutouts,
        quantities.seams, slabs, trouble, price, best_question(area, price, state, landmarks or {}),
        Phrase("both", first=PRINT_ONLY, second=caution) if outline.unscaled and caution else
        PRINT_ONLY if outline.unscaled else caution, assumed,
    )  # fmt: skip


class _Known(State):
    """An outline's state with one more entry, the logarithm of the scale, where only the print of the sheets gives that."""

    @cached_property
    def cov(self) -> Array:
        """(S, S), or (S + 1, S + 1) with the scale."""
        return linalg.block_diag(super().cov, np.array([[PRINT_SCALE_U**2]])) if self.outline.unscaled else super().cov

    def whole(self, value: float, gradient: Array, power: int) -> Array:
        """Gradient of a quantity that goes with a power of the scale."""
        own = gradient if gradient.size else np.zeros(self.size)
        return np.append(own, power * value) if self.outline.unscaled else own

    def total(self, name: str, parts: Sequence[tuple[float, Array]], power: int) -> Range:
        """Sum of areas (``power`` 2) or lengths (1) with its range."""
        gradient = sum((self.whole(v, g, power) for v, g in parts), np.zeros(len(self.cov)))
        u = math.sqrt(max(float(gradient @ self.cov @ gradient), 0.0))
        return Range(name, sum(v for v, _ in parts), u, "mm2" if power == 2 else "mm", gradient)


def _stone_of(material: MaterialSpec, prices: PriceList | None) -> str:
    """What the job says of its stone; empty where it says nothing, so that the price list decides or asks."""
    if prices is None:
        return ""
    said = material.model_fields_set
    return material.name if "name" in said else material.kind if "kind" in said else ""


def _slab_of(material: MaterialSpec, prices: PriceList | None, stone: str) -> SlabSpec:
    usual = SlabSpec()
    size = None if prices is None else prices.slab_size.get(stone)
    return slab_from_words(size, material, usual.kerf_mm, not usual.grain)


def _gross(piece: Piece) -> float:
    """Area within the outer line, cut-outs not taken off (as stone is charged: common practice)."""
    return float(shapely.Polygon(flatten_polyline(np.asarray(piece.vertices, float), True, 0.05)).area)


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


def best_question(
    area: Range, price: Price | None, state: _Known, landmarks: Mapping[tuple[str, str], Sequence[str]]
) -> Ask | None:
    """The one tape length between two corners that narrows the price (or the area) most; None where none is worth asking."""
    money = sum((line.gradient for line in price.lines), np.zeros(len(state.cov))) if price is not None else np.zeros(0)
    gradient = money if np.any(money) else area.gradient
    cov = state.cov
    if float(gradient @ cov @ gradient) <= 0:
        return None
    asked = [length for loop in state.outline.loops if loop.closed for length in _corner_lengths(state, loop)]
    if not asked:
        return None
    # along an edge is easier to tell and to measure than across
    ease = np.array([ALONG_EDGE if x.along_edge else 1.0 for x in asked])
    best = asked[int(np.argmax(ease * gains(cov, gradient, np.array([x.gradient for x in asked]), CUSTOMER_TAPE_U_MM)))]
    after = with_observations(cov, best.gradient, CUSTOMER_TAPE_U_MM**2)

    def half(g: Array, c: Array) -> float:
        return 2.0 * math.sqrt(max(float(g @ c @ g), 0.0))

    if half(gradient, after) > WORTH_ASKING * half(gradient, cov):
        return None
    before, then = (price.high - price.low) / 2.0 if price else math.nan, math.nan
    if price is not None:
        then = max(before - price.factor * (half(money, cov) - half(money, after)), 0.0)
    words = tape_words(state.outline, best.loop_id, best.first, best.second, landmarks)
    sentence = Phrase("tape-ask", tape=words, inches=best.length_mm / INCH_MM, cm=best.length_mm / 10.0)
    return Ask(sentence, half(area.gradient, cov), half(area.gradient, after), before, then)


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


def _corner_lengths(state: _Known, loop: OutlineLoop) -> Iterator[_CornerLength]:
    corners = state.corners(loop.loop_id)
    n = len(corners)
    for i, j in itertools.combinations(range(n), 2):
        d = (corners[j] - corners[i]).norm()
        if d.value >= LEAST_ASKED_MM:
            gradient = state.whole(d.value, d.gradient(state.size), 1)
            yield _CornerLength(loop.loop_id, i, j, d.value, gradient, j - i in (1, n - 1))
