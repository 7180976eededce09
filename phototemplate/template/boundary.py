"""Closed boundaries of spans on curves: joining, cutting along a line, notching, rounding and clipping corners.

A boundary runs anticlockwise, interior on the left of every span's curve. All points carry gradients, so whatever is
measured on a finished piece knows its uncertainty. Nothing here knows of job files.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from phototemplate.errors import InputError
from phototemplate.model import Array
from phototemplate.template.constants import CHECK_TOLERANCE_MM, PARALLEL_RAD, SMALLEST_ARC_MM, SMALLEST_SPAN_MM
from phototemplate.template.curves import ArcCurve, LineCurve
from phototemplate.template.drawing import flatten_polyline
from phototemplate.template.gradients import Dual, Vec, atan2, dual
from phototemplate.template.intersections import AnyCurve, crossing_angle_rad, meet, tangent_place
from phototemplate.template.quantities import span_area


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


def span_line(span: Span, tolerance_mm: float = CHECK_TOLERANCE_MM) -> shapely.LineString:
    """Chorded line of a span, both ends included."""
    return shapely.LineString(span_points(span, tolerance_mm))


def span_points(span: Span, tolerance_mm: float = CHECK_TOLERANCE_MM) -> Array:
    """(n, 2) points of a span, both ends included."""
    return flatten_polyline(np.array([*span.vertices(tolerance_mm), (*span.end.xy, 0.0)]), False, tolerance_mm)


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
        if crossing_angle_rad(before, curve, b.xy) < PARALLEL_RAD:
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
        if span.advance() < (SMALLEST_ARC_MM if span.finish == "corner" else SMALLEST_SPAN_MM):
            raise Unfit(span.name, "nothing of it is left")
    polygon = polygon_of(boundary)
    if not polygon.is_valid or polygon.area <= 0 or not polygon.exterior.is_ccw:
        raise Unfit(_crossing_span(boundary), "the boundary crosses itself")


def _crossing_span(boundary: Boundary) -> str:
    """Name of a span that meets another one which is not its neighbour."""
    runs = [span_line(span) for span in boundary]
    n = len(runs)
    for i in range(n):
        if not runs[i].is_simple:
            return boundary[i].name
        for j in range(i + 2, n):
            if (i, j) != (0, n - 1) and runs[i].intersects(runs[j]):
                return boundary[i].name
    return boundary[0].name


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
