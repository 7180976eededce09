"""The drawing: a small closed set of primitives, in mm, on named layers.

Everything that is drawn or cut lowers itself to these six primitives; the writers (DXF, SVG, PDF) read nothing else.
Coordinates are those of the plan frame (x right along the longest run, y away from the room) or of a sheet of paper
where a shop drawing says so; angles are in rad, anticlockwise from x. A bulge is tan(included angle / 4), positive
where the span from this vertex to the next turns anticlockwise (DXF reference, LWPOLYLINE group 42).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Final, Literal

import numpy as np

from phototemplate.model import Array
from phototemplate.template.constants import (
    BROADER,
    CAPITAL_HEIGHT,
    CHAR_WIDTH_ELSE,
    CHAR_WIDTHS,
    SMALLEST_STEP_RAD,
    TEXT_OVER_LINE,
)
from phototemplate.units import WITHHELD

Point = tuple[float, float]
Stroke = Literal["solid", "dashed", "dotted", "chain"]
HorizontalAlign = Literal["left", "centre", "right"]
VerticalAlign = Literal["bottom", "middle", "top"]
Data = tuple[tuple[str, str | float], ...]
"""Named values that travel with a primitive; the DXF writer stores them as XDATA."""


@dataclass(frozen=True)
class Layer:
    """How one layer looks everywhere. Names keep to R12's alphabet: capitals, digits, hyphen, at most 31 characters."""

    name: str
    meaning: str
    rgb: tuple[int, int, int] = (0, 0, 0)
    stroke: Stroke = "solid"
    width_mm: float = 0.25
    """Line width on paper"""
    cut: bool = False
    """True: the shop cuts along what lies here."""

    def __post_init__(self) -> None:
        assert len(self.name) <= 31, self.name
        assert all(c.isdigit() or c == "-" or "A" <= c <= "Z" for c in self.name), self.name


LAYERS: Mapping[str, Layer] = {
    layer.name: layer
    for layer in (
        # what was measured
        Layer("FOUND-LINE", "edges as measured, closed where the edges close", (20, 20, 20), width_mm=0.35),
        Layer("FOUND-EDGES", "every measured edge by itself, with its uncertainty as extended data", (70, 70, 160),
              width_mm=0.18),
        Layer("FOUND-OPEN", "edges as measured that do not close to a loop", (190, 0, 0), "dashed", 0.35),
        Layer("FOUND-POINTS", "measured points of the edges", (120, 120, 120), width_mm=0.13),
        Layer("FOUND-BAND", "band of the uncertainty U (k = 2) about each edge, drawn larger where said", (0, 110, 190),
              "dotted", 0.13),
        Layer("FOUND-NAMES", "names of edges and corners", (60, 60, 60), width_mm=0.18),
        Layer("FOUND-SIZES", "dimensions of the measured outline", (0, 90, 60), width_mm=0.18),
        Layer("FOUND-TABLE", "table of edges with their uncertainty", (60, 60, 60), width_mm=0.18),
        # what is to be cut
        Layer("STONE-SHAPE", "outer line of every piece, closed", (0, 0, 0), width_mm=0.5, cut=True),
        Layer("STONE-CUTOUT", "cut-outs within a piece, closed", (170, 0, 90), width_mm=0.35, cut=True),
        Layer("STONE-HOLE", "drilled holes", (170, 0, 90), width_mm=0.35, cut=True),
        Layer("STONE-FINISHED", "edges to be finished", (0, 90, 200), width_mm=0.7),
        Layer("STONE-CENTRES", "centre lines of cut-outs", (130, 130, 130), "chain", 0.18),
        Layer("STONE-SEAM", "joints between pieces", (200, 90, 0), "chain", 0.35),
        Layer("SPLASH-FOOT", "plan of the foot of a splash that follows its wall, to scribe by; not a piece", (130, 130, 130),
              width_mm=0.25),
        Layer("STONE-UNDERNEATH", "cabinets, appliances and marks under or beside the stone", (130, 130, 130),
              "dashed", 0.18),
        Layer("STONE-NAMES", "names of pieces and their edges", (40, 40, 40), width_mm=0.18),
        Layer("STONE-SIZES", "finished dimensions", (0, 90, 60), width_mm=0.18),
        # what a machine cuts, in files of its own
        Layer("CUT-OUTSIDE", "outer line of a piece, closed, anticlockwise", (0, 0, 0), width_mm=0.5, cut=True),
        Layer("CUT-INSIDE", "cut-outs and holes, closed, clockwise", (170, 0, 90), width_mm=0.35, cut=True),
        # what studies draw
        Layer("WALL-DIAGRAM", "profile of a wall with its heights enlarged, to be read and not to be cut from", (110, 40, 140),
              width_mm=0.25),
        Layer("WALL-DIAGRAM-PIECE", "straight piece in that diagram, enlarged as well", (0, 90, 200), width_mm=0.5),
        Layer("SLAB-PLACES", "where pieces could be taken from slabs", (0, 110, 120), width_mm=0.25),
        Layer("SLAB-FAULTS", "faults of a slab with what is kept clear of them", (190, 0, 0), "dashed", 0.25),
        Layer("SLAB-REMNANT", "what is left of a slab", (0, 120, 60), "chain", 0.25),
        Layer("ESTIMATE-ONLY", "made from an estimate: to price by, nothing may be cut from it", (190, 0, 0)),
        # the sheet of paper
        Layer("SHEET-FRAME", "border and title block", (0, 0, 0), width_mm=0.35),
        Layer("SHEET-TEXT", "title block, schedule and notes", (0, 0, 0), width_mm=0.18),
        Layer("SHEET-CODE", "square codes", (0, 0, 0), width_mm=0.01),
        Layer("SHEET-CAUTION", "cautions", (190, 0, 0), width_mm=0.25),
        Layer("NOT-SCALED", "no known length: the shape is true, its size is not, and nothing may be cut from it", (190, 0, 0)),
    )
}
"""Every layer, in drawing order. Add new layers here, nowhere else."""


@dataclass(frozen=True)
class Primitive:
    """Common part of all primitives."""

    layer: str
    data: Data = field(default=(), kw_only=True)

    def __post_init__(self) -> None:
        assert self.layer in LAYERS, f"layer {self.layer!r} is not listed in drawing.LAYERS"

    @property
    def stated(self) -> Data:
        """``data`` as it is written: what is not known is left out, an uncertainty that cannot be stated says so."""
        known = ((k, v) for k, v in self.data if isinstance(v, str) or not math.isnan(v))
        return tuple((k, WITHHELD if not isinstance(v, str) and math.isinf(v) else v) for k, v in known)


@dataclass(frozen=True)
class Line(Primitive):
    """Straight line."""

    start: Point
    end: Point


@dataclass(frozen=True)
class Arc(Primitive):
    """Circular arc, anticlockwise from ``start_rad`` to ``end_rad``."""

    centre: Point
    radius_mm: float
    start_rad: float
    end_rad: float


@dataclass(frozen=True)
class Circle(Primitive):
    """Full circle."""

    centre: Point
    radius_mm: float


@dataclass(frozen=True)
class Polyline(Primitive):
    """Chain of lines and arcs."""

    vertices: tuple[tuple[float, float, float], ...]
    """(x, y, bulge) each; the bulge belongs to the span that begins here"""
    closed: bool = False
    name: str = ""
    """Loop, edge or piece it stands for"""
    filled: bool = False
    """On paper and in SVG"""

    @property
    def array(self) -> Array:
        """(n, 3) x, y, bulge."""
        return np.asarray(self.vertices, dtype=np.float64).reshape(-1, 3)


@dataclass(frozen=True)
class Text(Primitive):
    """One line of text."""

    position: Point
    text: str
    height_mm: float
    """Height of capitals"""
    rotation_rad: float = 0.0
    align: HorizontalAlign = "left"
    valign: VerticalAlign = "bottom"
    names: Point | None = None
    """Place that it names: a label moved away from it is led back to it by a line"""


@dataclass(frozen=True)
class Dimension(Primitive):
    """A dimension between two points.

    ``aligned``: measured along the line from ``start`` to ``end``. ``linear``: measured along ``angle_rad`` only.
    The dimension line runs through ``base``. ``text`` is what is printed in place of the bare number (the value with
    its U); ``"<>"`` in it stands for the measured value, as in DXF.
    """

    start: Point
    end: Point
    base: Point
    kind: Literal["aligned", "linear"] = "aligned"
    angle_rad: float = 0.0
    text: str = "<>"
    height_mm: float = 25.0
    decimals: int = 1
    text_along_mm: float = 0.0
    """How far the middle of the text stands off that of the dimension line, in the direction of measuring"""

    @property
    def direction_rad(self) -> float:
        """Direction in which is measured."""
        if self.kind == "linear":
            return self.angle_rad
        return math.atan2(self.end[1] - self.start[1], self.end[0] - self.start[0])

    @property
    def value_mm(self) -> float:
        """The measured value, always positive."""
        c, s = math.cos(self.direction_rad), math.sin(self.direction_rad)
        return abs((self.end[0] - self.start[0]) * c + (self.end[1] - self.start[1]) * s)

    def feet(self) -> tuple[Point, Point]:
        """Where the extension lines from start and end meet the dimension line."""
        c, s = math.cos(self.direction_rad), math.sin(self.direction_rad)

        def foot(p: Point) -> Point:
            along = (p[0] - self.base[0]) * c + (p[1] - self.base[1]) * s
            return (self.base[0] + along * c, self.base[1] + along * s)

        return foot(self.start), foot(self.end)

    def printed(self) -> str:
        """Text with the value filled in."""
        return self.text.replace("<>", f"{self.value_mm:.{self.decimals}f}")


Item = Line | Arc | Circle | Polyline | Text | Dimension


@dataclass(frozen=True)
class Drawing:
    """What a writer gets: items in drawing order, all in mm."""

    title: str
    items: tuple[Item, ...]
    notes: tuple[str, ...] = ()
    """Statements that belong to the whole drawing: frame, tolerance of curves, meaning of U"""
    chord_tolerance_mm: float = 0.0
    """Largest distance of a dense polyline from the curve it stands for; 0 where there is none"""

    @property
    def layers(self) -> tuple[Layer, ...]:
        """Layers in use, in the order of :data:`LAYERS`."""
        used = {item.layer for item in self.items}
        return tuple(layer for name, layer in LAYERS.items() if name in used)

    def on(self, *layers: str) -> tuple[Item, ...]:
        """Items on the named layers."""
        return tuple(item for item in self.items if item.layer in layers)

    def bounds(self) -> tuple[float, float, float, float]:
        """(xmin, ymin, xmax, ymax) of everything, text by an estimate of its width; zeros if empty."""
        boxes = [item_bounds(item) for item in self.items]
        if not boxes:
            return (0.0, 0.0, 0.0, 0.0)
        low = np.min([b[:2] for b in boxes], axis=0)
        high = np.max([b[2:] for b in boxes], axis=0)
        return (float(low[0]), float(low[1]), float(high[0]), float(high[1]))

    def with_items(self, items: Iterable[Item]) -> Drawing:
        """The same drawing with further items on top."""
        return replace(self, items=(*self.items, *items))

    def moved(self, dx_mm: float, dy_mm: float, rotation_rad: float = 0.0, scale: float = 1.0) -> Drawing:
        """Turned about the origin, scaled, then shifted. Dimension texts are fixed first, so they keep real values."""
        return replace(self, items=tuple(move_item(item, dx_mm, dy_mm, rotation_rad, scale) for item in self.items))




_WIDTHS: Final = {c: width for width, chars in CHAR_WIDTHS.items() for c in chars}


def text_width_mm(text: str, height_mm: float) -> float:
    """Width of a text whose capitals are so high, by the metrics of a plain typeface."""
    return BROADER * height_mm / CAPITAL_HEIGHT * sum(_WIDTHS.get(c, CHAR_WIDTH_ELSE) for c in text)


def arc_of_bulge(start: Point, end: Point, bulge: float) -> tuple[Point, float, float, float]:
    """Centre, radius, start angle and included angle (signed) of one bulged span.

    With chord c: radius = c (1 + b^2) / (4 |b|), sagitta = |b| c / 2.
    """
    dx, dy = end[0] - start[0], end[1] - start[1]
    # centre = midpoint + left normal * c (1 - b^2) / (4 b)
    k = (1.0 - bulge * bulge) / (4.0 * bulge)
    cx, cy = (start[0] + end[0]) / 2.0 - k * dy, (start[1] + end[1]) / 2.0 + k * dx
    radius = math.hypot(start[0] - cx, start[1] - cy)
    return (cx, cy), radius, math.atan2(start[1] - cy, start[0] - cx), 4.0 * math.atan(bulge)


def flatten_arc(centre: Point, radius_mm: float, start_rad: float, sweep_rad: float, tolerance_mm: float) -> Array:
    """(n, 2) points on an arc whose chords stay within the tolerance, both ends included."""
    ratio = min(max(1.0 - tolerance_mm / max(radius_mm, 1e-12), -1.0), 1.0)
    step = max(2 * math.acos(ratio), SMALLEST_STEP_RAD)
    n = max(math.ceil(abs(sweep_rad) / min(step, math.pi / 4)), 1)
    a = start_rad + sweep_rad * np.linspace(0.0, 1.0, n + 1)
    return np.column_stack([centre[0] + radius_mm * np.cos(a), centre[1] + radius_mm * np.sin(a)])


def flatten_polyline(vertices: Array, closed: bool, tolerance_mm: float = 0.05) -> Array:
    """(m, 2) points of a polyline with its bulges replaced by chords; a closed one repeats no point."""
    out: list[Array] = []
    n = len(vertices)
    for i in range(n if closed else n - 1):
        x, y, bulge = vertices[i]
        j = (i + 1) % n
        if abs(bulge) < 1e-12:
            out.append(np.array([[x, y]]))
        else:
            arc = arc_of_bulge((x, y), (vertices[j, 0], vertices[j, 1]), float(bulge))
            out.append(flatten_arc(*arc, tolerance_mm)[:-1])
    if not closed and n:
        out.append(vertices[-1:, :2])
    return np.vstack(out) if out else np.zeros((0, 2))


def item_points(item: Item, tolerance_mm: float = 0.5) -> Array:
    """(n, 2) points whose hull contains the item."""
    if isinstance(item, Line):
        return np.array([item.start, item.end])
    if isinstance(item, Arc):
        sweep = (item.end_rad - item.start_rad) % (2 * math.pi) or 2 * math.pi
        return flatten_arc(item.centre, item.radius_mm, item.start_rad, sweep, tolerance_mm)
    if isinstance(item, Circle):
        return flatten_arc(item.centre, item.radius_mm, 0.0, 2 * math.pi, tolerance_mm)
    if isinstance(item, Polyline):
        return flatten_polyline(item.array, item.closed, tolerance_mm)
    if isinstance(item, Text):
        width = text_width_mm(item.text, item.height_mm)
        x0 = {"left": 0.0, "centre": -width / 2, "right": -width}[item.align]
        y0 = {"bottom": 0.0, "middle": -item.height_mm / 2, "top": -item.height_mm}[item.valign]
        box = np.array([[x0, y0], [x0 + width, y0], [x0 + width, y0 + item.height_mm], [x0, y0 + item.height_mm]])
        c, s = math.cos(item.rotation_rad), math.sin(item.rotation_rad)
        turned: Array = box @ np.array([[c, s], [-s, c]]) + np.array(item.position)
        return turned
    a, b = item.feet()
    c, s = math.cos(item.direction_rad), math.sin(item.direction_rad)
    at = np.array([(a[0] + b[0]) / 2, (a[1] + b[1]) / 2]) + item.text_along_mm * np.array([c, s])
    half, high = text_width_mm(item.printed(), item.height_mm) / 2.0, TEXT_OVER_LINE[1] * item.height_mm
    text = [at + u * half * np.array([c, s]) + v * high * np.array([-s, c]) for u in (-1, 1) for v in (-1, 1)]
    return np.array([item.start, item.end, a, b, *text])


def item_bounds(item: Item) -> tuple[float, float, float, float]:
    """(xmin, ymin, xmax, ymax) of one item."""
    points = item_points(item)
    if not len(points):
        return (0.0, 0.0, 0.0, 0.0)
    low, high = points.min(axis=0), points.max(axis=0)
    return (float(low[0]), float(low[1]), float(high[0]), float(high[1]))


def move_item(item: Item, dx_mm: float, dy_mm: float, rotation_rad: float = 0.0, scale: float = 1.0) -> Item:
    """One item turned about the origin, scaled, then shifted."""
    c, s = math.cos(rotation_rad), math.sin(rotation_rad)

    def at(p: Point) -> Point:
        return (scale * (c * p[0] - s * p[1]) + dx_mm, scale * (s * p[0] + c * p[1]) + dy_mm)

    if isinstance(item, Line):
        return replace(item, start=at(item.start), end=at(item.end))
    if isinstance(item, Arc):
        return replace(item, centre=at(item.centre), radius_mm=scale * item.radius_mm,
                       start_rad=item.start_rad + rotation_rad, end_rad=item.end_rad + rotation_rad)
    if isinstance(item, Circle):
        return replace(item, centre=at(item.centre), radius_mm=scale * item.radius_mm)
    if isinstance(item, Polyline):
        return replace(item, vertices=tuple((*at((x, y)), b) for x, y, b in item.vertices))
    if isinstance(item, Text):
        return replace(item, position=at(item.position), height_mm=scale * item.height_mm,
                       rotation_rad=item.rotation_rad + rotation_rad)
    return replace(item, start=at(item.start), end=at(item.end), base=at(item.base), text=item.printed(),
                   angle_rad=item.angle_rad + rotation_rad, height_mm=scale * item.height_mm,
                   text_along_mm=scale * item.text_along_mm)


def table(
    rows: Iterable[Iterable[str]],
    corner: Point,
    height_mm: float,
    text_layer: str = "SHEET-TEXT",
    line_layer: str | None = "SHEET-FRAME",
    header: bool = True,
) -> tuple[Item, ...]:
    """A readable table of text and rules, its upper left corner at ``corner``; columns as wide as their longest text.

    The last column is not cut off, whatever its length.
    """
    cells = [list(row) for row in rows]
    if not cells:
        return ()
    columns = max(len(r) for r in cells)
    # wider than the estimate, so that a broader typeface does not run into the next column
    widths = [1.12 * max((text_width_mm(r[k], height_mm) for r in cells if k < len(r)), default=0.0) + 1.6 * height_mm
              for k in range(columns)]
    step = 1.9 * height_mm
    items: list[Item] = []
    for i, row in enumerate(cells):
        x = corner[0]
        for k, cell in enumerate(row):
            if cell:
                at = (x + 0.6 * height_mm, corner[1] - (i + 0.5) * step)
                items.append(Text(text_layer, at, cell, height_mm, valign="middle"))
            x += widths[k]
    if line_layer is not None:
        x1 = corner[0] + sum(widths)
        rules = [0, 1, len(cells)] if header else [0, len(cells)]
        items += [Line(line_layer, (corner[0], corner[1] - i * step), (x1, corner[1] - i * step)) for i in rules]
    return tuple(items)
