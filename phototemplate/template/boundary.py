"""Closed boundaries of spans on curves: joining, cutting along a line, notching, rounding and clipping corners.

A boundary runs anticlockwise, interior on the left of every span's curve. All points carry gradients, so whatever is
measured on a finished piece knows its uncertainty. Nothing here knows of job files.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from phototemplate.errors import InputError
from phototemplate.model import Array
from phototemplate.template.curves import ArcCurve, LineCurve
from phototemplate.template.drawing import flatten_polyline
from phototemplate.template.gradients import Dual, Vec, atan2, dual
from phototemplate.template.meeting import AnyCurve, crossing_angle_rad, meet, meet_at, tangent_place, with_gradient
from phototemplate.template.quantities import span_area

CHECK_TOLERANCE_MM = 0.02
"""Chord tolerance of the polygons that only check validity"""
SMALLEST_SPAN_MM = 0.05
"""What is shorter is no edge a shop could cut"""


STRAIGHT_ON_RAD = math.radians(3.0)
"""Flatter turns are no corners"""


class FitError(InputError):
    """A wish that the measured shape does not allow; names what, its value and the nearest value that works."""

    def __init__(self, message: str, where: str, value_mm: float | None = None, nearest_mm: float | None = None) -> None:
        super().__init__(message)
        self.where = where
        self.value_mm = value_mm
        self.nearest_mm = nearest_mm


class Unfit(Exception):
    """A step has no solution; ``where`` names the span or corner."""

    def __init__(self, where: str, why: str) -> None:
        super().__init__(f"{where}: {why}")
        self.where = where
        self.why = why


@dataclass(frozen=True)
class Span:
    """One edge or corner arc of a boundary."""

    curve: AnyCurve
    """Directed as the boundary runs"""
    start: Vec
    end: Vec
    name: str
    """Measured edge, side of an opening, seam, or ``a/b`` for the treatment of a corner"""
    finish: str

    def vertices(self, tolerance_mm: float) -> list[tuple[float, float, float]]:
        """(x, y, bulge) from the start up to, not including, the end."""
        return self.curve.vertices(self.start.xy, self.end.xy, tolerance_mm)

    def advance(self) -> float:
        """Way from start to end along the curve; negative where the span runs backwards."""
        if isinstance(self.curve, ArcCurve):
            return self.curve.sweep_rad(self.start.xy, self.end.xy) * self.curve.radius.value
        return self.curve.position(self.end.xy) - self.curve.position(self.start.xy)

    def length(self) -> Dual:
        """Length along a line or arc, straight distance of a profile."""
        return self.curve.length(self.start, self.end)


Boundary = tuple[Span, ...]


def corner_name(boundary: Sequence[Span], i: int) -> str:
    """``before/after`` of the corner where span i begins."""
    return f"{boundary[i - 1].name}/{boundary[i].name}"


def same_corner(a: str, b: str) -> bool:
    """Corner names in either order."""
    return sorted(a.split("/")) == sorted(b.split("/"))


def boundary_vertices(boundary: Sequence[Span], tolerance_mm: float) -> tuple[tuple[float, float, float], ...]:
    """Vertices of the closed polyline, none repeated."""
    return tuple(v for span in boundary for v in span.vertices(tolerance_mm))


def polygon_of(boundary: Sequence[Span], tolerance_mm: float = CHECK_TOLERANCE_MM) -> shapely.Polygon:
    """Chorded polygon, to check validity and containment only."""
    points = flatten_polyline(np.array(boundary_vertices(boundary, tolerance_mm)), True, tolerance_mm)
    return shapely.Polygon(points) if len(points) > 2 else shapely.Polygon()


def polygon_of_vertices(
    vertices: Sequence[tuple[float, float, float]], tolerance_mm: float = CHECK_TOLERANCE_MM
) -> shapely.Polygon:
    """Chorded polygon of a closed polyline with bulges."""
    return shapely.Polygon(flatten_polyline(np.array(vertices), True, tolerance_mm))


def boundary_area(boundary: Sequence[Span]) -> Dual:
    """Area in mm^2, arcs and profiles exact (Green's theorem)."""
    total = dual(0.0)
    for span in boundary:
        total = total + span_area(span.curve, span.start, span.end)
    return total * 0.5


def turning_rad(before: Span, after: Span) -> float:
    """Change of direction at a corner, positive to the left (an outside corner)."""
    a, b = before.curve.tangent(before.end).xy, after.curve.tangent(after.start).xy
    return math.atan2(a[0] * b[1] - a[1] * b[0], float(a @ b))


def inside_angle(before: Span, after: Span) -> Dual:
    """Angle inside the piece at a corner, in rad."""
    a, b = before.curve.tangent(before.end), after.curve.tangent(after.start)
    return math.pi - atan2(a.cross(b), a.dot(b))


# ------------------------------------------------------------------------------------------------- joining


def join(lines: Sequence[tuple[AnyCurve, str, str]], corners: Sequence[Vec]) -> Boundary:
    """Close a boundary over curves in running order; ``corners[i]`` lies near where curve i-1 meets curve i.

    Neighbours in line with each other (after one was put in line) meet at the foot of the old corner; parallel ones at
    different offsets get a step square to them.

    Raises:
        Unfit: neighbours do not meet, or a span would run backwards.
    """
    n = len(lines)
    starts: list[Vec] = []
    ends: list[Vec] = []
    steps: dict[int, Span] = {}
    for i, (curve, name, finish) in enumerate(lines):
        before, before_name, _ = lines[i - 1]
        old = corners[i]
        tangent = tangent_place(before, curve)
        if tangent is not None:
            starts.append(tangent)
            ends.append(tangent)
            continue
        a, b = before.foot(old), curve.foot(old)
        if crossing_angle_rad(before, curve, b.xy) < math.radians(1.0):
            gap = float((b - a).norm()) if np.hypot(*(b.xy - a.xy)) > 1e-9 else 0.0
            if gap < SMALLEST_SPAN_MM:
                starts.append(b)
                ends.append(b)
            else:
                starts.append(b)
                ends.append(a)
                steps[i] = Span(LineCurve(a, (b - a).unit()), a, b, f"{before_name} step {name}", finish)
            continue
        corner = meet(before, curve, (a.xy + b.xy) / 2.0)
        if corner is None:
            raise Unfit(name, f"{before_name} and {name} no longer meet")
        starts.append(corner)
        ends.append(corner)
    out: list[Span] = []
    for i, (curve, name, finish) in enumerate(lines):
        if i in steps:
            out.append(steps[i])
        out.append(Span(curve, starts[i], ends[(i + 1) % n], name, finish))
    boundary = tuple(out)
    check(boundary)
    return boundary


def check(boundary: Boundary) -> None:
    """Raise Unfit where a span runs backwards or is lost, or the boundary crosses itself."""
    for span in boundary:
        if span.advance() < SMALLEST_SPAN_MM:
            raise Unfit(span.name, "nothing of it is left")
    polygon = polygon_of(boundary)
    if not polygon.is_valid or polygon.area <= 0 or not polygon.exterior.is_ccw:
        raise Unfit(_crossing_span(boundary), "the boundary crosses itself")


def _crossing_span(boundary: Boundary) -> str:
    """Name of a span that meets another one which is not its neighbour."""
    runs = []
    for span in boundary:
        points = np.array([*span.vertices(CHECK_TOLERANCE_MM), (*span.end.xy, 0.0)])
        runs.append(shapely.LineString(flatten_polyline(points, False, CHECK_TOLERANCE_MM)))
    n = len(runs)
    for i in range(n):
        if not runs[i].is_simple:
            return boundary[i].name
        for j in range(i + 2, n):
            if (i, j) != (0, n - 1) and runs[i].intersects(runs[j]):
                return boundary[i].name
    return boundary[0].name


# ------------------------------------------------------------------------------------------------- cutting


@dataclass(frozen=True)
class Crossing:
    """Where a line crosses a boundary."""

    span: int
    position: float
    """Along the line"""
    point: Vec


def crossings(boundary: Boundary, line: LineCurve) -> list[Crossing]:
    """Every crossing of a line with a boundary, in the order of the line. A corner on the line counts as left of it."""
    out = []
    for i, span in enumerate(boundary):
        vertices = np.array([*span.vertices(0.5), (*span.end.xy, 0.0)])
        points = flatten_polyline(vertices, False, 0.5)
        left = line.sides(points) >= 0.0
        for k in np.nonzero(left[1:] != left[:-1])[0]:
            near = _between(points[k], points[k + 1], line)
            xy = near if isinstance(span.curve, LineCurve) else meet_at(span.curve, line, near, 200.0)
            if xy is not None:
                out.append(Crossing(i, line.position(xy), with_gradient(span.curve, line, xy)))
    return sorted(out, key=lambda c: c.position)


def _between(p: Array, q: Array, line: LineCurve) -> Array:
    a, b = line.side_at(p)[0], line.side_at(q)[0]
    out: Array = p + (q - p) * (a / (a - b) if a != b else 0.5)
    return out


def walk(boundary: Boundary, first: Crossing, last: Crossing) -> list[Span]:
    """Spans from one crossing along the boundary to another."""
    i, j = first.span, last.span
    a, b = boundary[i], boundary[j]
    if i == j:
        ahead = a.curve.position(last.point.xy) - a.curve.position(first.point.xy)
        if ahead > 0:
            return [replace(a, start=first.point, end=last.point)]
    out = [replace(a, start=first.point)]
    k = (i + 1) % len(boundary)
    while k != j:
        out.append(boundary[k])
        k = (k + 1) % len(boundary)
    out.append(replace(b, end=last.point))
    return [s for s in out if s.advance() > 1e-6]


def chord_of(boundary: Boundary, line: LineCurve, anchor: Array) -> tuple[Crossing, Crossing]:
    """The stretch of a line inside a boundary that contains (or is nearest to) an anchor on it.

    Raises Unfit where the line misses the boundary.
    """
    found = crossings(boundary, line)
    if len(found) < 2:
        raise Unfit("", "it misses the piece")
    at = line.position(anchor)
    pairs = list(zip(found[::2], found[1::2], strict=False))
    return min(pairs, key=lambda pair: max(pair[0].position - at, at - pair[1].position, 0.0))


def keep_left(boundary: Boundary, line: LineCurve, anchor: Array, name: str, finish: str) -> Boundary:
    """The part of a boundary on the left of a line, cut along the line's stretch at the anchor."""
    entry, leave = chord_of(boundary, line, anchor)
    cut = Span(line, entry.point, leave.point, name, finish)
    return (cut, *walk(boundary, leave, entry))


def split(
    boundary: Boundary, line: LineCurve, entry: Crossing, leave: Crossing, name: str, finish: str
) -> tuple[Boundary, Boundary]:
    """Both parts along one stretch of a line: that on its left, that on its right."""
    there = Span(line, entry.point, leave.point, name, finish)
    back = Span(line.reversed(), leave.point, entry.point, name, finish)
    return (there, *walk(boundary, leave, entry)), (back, *walk(boundary, entry, leave))


def chord_from_corner(boundary: Boundary, i: int, line: LineCurve) -> tuple[Crossing, Crossing]:
    """The stretch of a line that goes into the piece from the corner where span i begins. Raises Unfit if there is none."""
    start = boundary[i].start
    at = line.position(start.xy)
    beyond = [c for c in crossings(boundary, line) if c.position > at + 1.0]
    if not beyond:
        raise Unfit(corner_name(boundary, i), "the line does not go through the piece")
    return Crossing(i, at, start), beyond[0]


def set_back(boundary: Boundary, name: str, distance_mm: float) -> Boundary:
    """Move the straight span of a name into the piece; neighbours that this swallows are dropped.

    Raises Unfit where its neighbours do not reach it.
    """
    k = next(i for i, span in enumerate(boundary) if span.name == name)
    span = boundary[k]
    curve = span.curve.offset(distance_mm)
    rest = [*boundary[k + 1 :], *boundary[:k]]
    while len(rest) >= 2:
        start, end = meet(rest[-1].curve, curve, span.start.xy), meet(curve, rest[0].curve, span.end.xy)
        if start is None or end is None:
            raise Unfit(name, "its neighbours do not reach it")
        before, after = replace(rest[-1], end=start), replace(rest[0], start=end)
        if before.advance() < SMALLEST_SPAN_MM:
            rest.pop()
        elif after.advance() < SMALLEST_SPAN_MM:
            rest.pop(0)
        else:
            return (Span(curve, start, end, name, span.finish), after, *rest[1:-1], before)
    raise Unfit(name, "nothing of the piece is left")


def notch(boundary: Boundary, sides: Sequence[tuple[LineCurve, str]], anchor: Array, finish: str) -> Boundary:
    """Cut a notch whose sides are given in running order, the first and the last crossing the boundary near the anchor.

    Raises Unfit where a side misses the boundary.
    """
    (first, first_name), (last, last_name) = sides[0], sides[-1]

    def nearest(line: LineCurve, name: str) -> Crossing:
        found = crossings(boundary, line)
        if not found:
            raise Unfit(name, "it misses the piece")
        at = line.position(anchor)
        return min(found, key=lambda c: abs(c.position - at))

    enter, leave = nearest(first, first_name), nearest(last, last_name)
    out = walk(boundary, leave, enter)
    at = enter.point
    for k, (line, name) in enumerate(sides):
        if k + 1 < len(sides):
            corner = meet(line, sides[k + 1][0], at.xy)
            assert corner is not None, "sides of a notch are square to each other"
        else:
            corner = leave.point
        out.append(Span(line, at, corner, name, finish))
        at = corner
    return tuple(out)


# ------------------------------------------------------------------------------------------------- corners


def round_corner(boundary: Boundary, i: int, radius_mm: float) -> Boundary:
    """Round the corner where span i begins; inside corners are filled, outside corners taken off.

    Raises Unfit where the arc does not fit between the neighbouring corners.
    """
    a, b = boundary[i - 1], boundary[i]
    name = corner_name(boundary, i)
    turn = math.copysign(1.0, turning_rad(a, b))
    centre = meet(a.curve.offset(turn * radius_mm), b.curve.offset(turn * radius_mm), _centre_guess(a, b, radius_mm))
    if centre is None:
        raise Unfit(name, "the arc finds no place")
    start, end = a.curve.foot(centre), b.curve.foot(centre)
    arc = ArcCurve(centre, dual(radius_mm), turn, math.atan2(*(start.xy - centre.xy)[::-1]))
    return _replace_corner(boundary, i, Span(arc, start, end, name, "corner"))


def _centre_guess(a: Span, b: Span, radius_mm: float) -> Array:
    """Centre of the arc between the two tangents."""
    u, v = a.curve.tangent(a.end).xy, b.curve.tangent(b.start).xy
    half = abs(turning_rad(a, b)) / 2.0
    inward = v - u
    size = float(np.hypot(*inward)) or 1.0
    out: Array = a.end.xy + inward / size * radius_mm / max(math.cos(half), 0.05)
    return out


def clip_corner(boundary: Boundary, i: int, clip_mm: float) -> Boundary:
    """Cut a corner off by the same length along both edges."""
    a, b = boundary[i - 1], boundary[i]
    start = a.curve.foot(a.end - a.curve.tangent(a.end) * clip_mm)
    end = b.curve.foot(b.start + b.curve.tangent(b.start) * clip_mm)
    return _replace_corner(boundary, i, Span(LineCurve(start, (end - start).unit()), start, end,
                                             corner_name(boundary, i), "corner"))


def _replace_corner(boundary: Boundary, i: int, piece: Span) -> Boundary:
    n = len(boundary)
    out = list(boundary)
    out[i - 1] = replace(boundary[i - 1], end=piece.start)
    out[i] = replace(out[i], start=piece.end)
    for k in ((i - 1) % n, i):
        if out[k].advance() < -1e-6:
            raise Unfit(piece.name, "it is longer than the edge beside it")
    if piece.advance() <= 0:
        raise Unfit(piece.name, "it finds no place")
    out.insert(i, piece)
    return tuple(out)


def largest_working(works: Callable[[float], bool], low: float, high: float, step: float = 0.1) -> float | None:
    """The value nearest to ``high`` that works, between ``low`` (tried first) and ``high``, to ``step``; None if none."""
    if works(high):
        return high
    if not works(low):
        return None
    good, bad = low, high
    while abs(bad - good) > step / 4:
        middle = (good + bad) / 2.0
        good, bad = (middle, bad) if works(middle) else (good, middle)
    # round towards the working side
    scaled = good / step
    rounded = (math.floor(scaled + 1e-9) if high >= low else math.ceil(scaled - 1e-9)) * step
    return rounded if works(rounded) else good
