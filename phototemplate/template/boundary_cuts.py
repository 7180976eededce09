"""Cutting a boundary along a line, setting an edge back, notching."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from phototemplate.model import Array
from phototemplate.template.boundary import Boundary, Span, Unfit, corner_name, span_points
from phototemplate.template.constants import ON_LINE_MM, SLIVER_REACH_MM, SMALLEST_SPAN_MM
from phototemplate.template.curves import LineCurve
from phototemplate.template.gradients import Vec
from phototemplate.template.intersections import meet, meet_at, with_gradient


@dataclass(frozen=True)
class Crossing:
    """Where a line crosses a boundary."""

    span: int
    position: float
    """Along the line"""
    point: Vec


def crossings(boundary: Boundary, line: LineCurve) -> list[Crossing]:
    """Every crossing of a line with a boundary, in the order of the line.

    A corner on the line counts as left of it, even where rounding puts it a little to the right; so a span that lies on the
    line does not cross it.
    """
    out = []
    for i, span in enumerate(boundary):
        points = span_points(span, 0.5)
        left = line.sides(points) >= -ON_LINE_MM
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
    if distance_mm == 0.0:
        return boundary  # its neighbours may run on in its very line and meet it nowhere else
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


def without_slivers(boundary: Boundary) -> Boundary:
    """The boundary without edges that are too short to be cut: their neighbours meet in their place, where they do."""
    out = list(boundary)
    for k in sorted(range(len(out)), key=lambda k: out[k].advance()):
        span = boundary[k]
        if span.advance() >= SMALLEST_SPAN_MM or span.finish == "corner" or len(out) <= 3 or span not in out:
            continue
        i = out.index(span)
        before, after = out[i - 1], out[(i + 1) % len(out)]
        corner = meet(before.curve, after.curve, span.start.xy, SLIVER_REACH_MM)
        if corner is None or float(np.hypot(*(corner.xy - span.start.xy))) > SLIVER_REACH_MM:
            continue
        out[i - 1], out[(i + 1) % len(out)] = replace(before, end=corner), replace(after, start=corner)
        del out[i]
    return tuple(out)


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
